# make demo     install into .venv and draft the bundled sample
# make test     install into .venv and pass the tests
# make help     the other targets

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# Wheels only, but for one small pure-Python package that Snakemake needs and that is published as source alone.
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes \
	--only-binary :all: --no-binary connection-pool
OWN := $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .

# Some machines forbid Python to keep what it compiled; each of the hundreds of processes of tests would compile anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help demo test types suite quick lint install pictures rooms words figures slurm-test settings lock fonts clean

help:
	@echo "demo      install into .venv and draft the bundled sample"
	@echo "test      install into .venv and pass the tests"
	@echo "install   install the command into .venv/bin/tussock"
	@echo "types     mypy alone"
	@echo "suite     the tests alone, on all cores up to four"
	@echo "quick     the tests without the slow ones"
	@echo "lint      style and types"
	@echo "settings  write config/settings.md and config/area.schema.json from pipeline/settings/"
	@echo "pictures  the pictures of the README and the user's guide, and its example of hours, from the sample's draft"
	@echo "rooms     docs/rooms.png and docs/rooms.txt: which room of the code imports which"
	@echo "words     bring the catalogues of pipeline/words/po/ in step with the texts in the code"
	@echo "figures   measure again what docs/figures.md states; ONLY=structure,cost for some, ONLY=list to see all"
	@echo "slurm-test  drafts through SLURM on this machine, compared with drafts without it; as root, installs slurm-wlm"
	@echo "lock      pin the newest versions of what pyproject.toml asks for (needs uv)"
	@echo "fonts     the letters of pipeline/sheet/page/fonts/, from Debian's packages of Noto (needs apt, dpkg and uv)"
	@echo "clean     remove .venv and the sample's draft"

demo: install
	$(BIN)/tussock draft sample_tiles/area.yaml

install: $(VENV)/installed

# Types are checked beside the tests: mypy uses one core, and so do the tests at their end.
test: $(VENV)/installed-for-tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(MAKE) --no-print-directory --jobs --keep-going types suite

types: $(VENV)/installed-for-tests
	$(BIN)/mypy

# Whole files of tests go to as many processes as there are cores, four at most: each may draft, in up to 2 GB.
suite: $(VENV)/installed-for-tests
	$(BIN)/python -m pytest --numprocesses logical --maxprocesses 4 --dist loadfile --no-loadscope-reorder

quick: $(VENV)/installed-for-tests
	$(BIN)/python -m pytest -m "not slow"

lint: $(VENV)/installed-for-tests
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

pictures: demo
	$(BIN)/python -m docs.make_pictures
	$(BIN)/python -m docs.make_effort_example

rooms: $(VENV)/installed-for-tests
	$(BIN)/python -m docs.make_rooms

words: $(VENV)/installed-for-tests
	$(BIN)/python -m docs.make_words

figures: $(VENV)/installed-for-tests
	$(BIN)/python -m tests.benchmarks.figures $(if $(ONLY),--only $(ONLY))

slurm-test: install
	AREAS="$(AREAS)" tests/cluster/slurm.sh $(BIN)/python

settings: install
	$(BIN)/python -m pipeline.explain

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Tussock needs Python 3.11 or newer; name one, e.g.: make demo PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)

$(VENV)/installed: requirements.lock pyproject.toml | $(BIN)/python
	$(PIP) --requirement requirements.lock
	$(OWN)
	@touch $@

# Not compiled in advance, which takes as long as all the rest: much of it is never imported.
$(VENV)/installed-for-tests: requirements-test.lock pyproject.toml | $(BIN)/python
	$(PIP) --no-compile --requirement requirements-test.lock
	$(OWN)
	@touch $@ $(VENV)/installed

# Pinned and hashed, without the address of any package index.
LOCK := uv pip compile --universal --generate-hashes --no-header --python-version 3.11 --upgrade --extra build

lock:
	$(LOCK) pyproject.toml --output-file requirements.lock
	$(LOCK) --extra test pyproject.toml --output-file requirements-test.lock

fonts:
	rm -rf build/fonts && mkdir -p build/fonts
	cd build/fonts && apt-get download fonts-noto-core fonts-noto-cjk && for one in *.deb; do dpkg-deb -x $$one .; done
	uv run --no-project --with fonttools python docs/make_fonts.py build/fonts

clean:
	rm -rf $(VENV) sample_tiles/out
