"""What the wheel holds beside `pyproject.toml`: the tables of `config/` travel inside the package."""

from setuptools import find_packages, setup

setup(
    packages=[*find_packages(include=["pipeline", "pipeline.*"]), "pipeline.config"],
    package_dir={"pipeline.config": "config"},
    package_data={
        "pipeline.rules": ["*.smk"],
        "pipeline.sheet.page": ["fonts/*"],
        "pipeline.report": ["parts/*", "leaflet/*"],
        "pipeline.words": ["po/*.po"],
        "pipeline.config": ["*", "profiles/*/*"],
    },
)
