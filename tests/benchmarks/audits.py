"""Finished drafts against the least sizes and gaps of the norm: `python -m tests.benchmarks.audits NAME=OUT ...`."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

from pipeline.audit.audit import RULES, Audit
from pipeline.steps.audit import audit_folder
from tests.benchmarks.results import Table


def audits(drafts: Mapping[str, Path], /) -> list[Table]:
    """Places that fall short by rule, a column a draft, and by symbol, a row a kind of place."""
    made = {name: audit_folder(out) for name, out in drafts.items()}
    counts = {name: Counter(audit.findings["rule"]) for name, audit in made.items()}
    rows = [[f"{rule}: {RULES[rule]}", *(str(counts[name][rule]) for name in made)] for rule in RULES]
    rows.append(["places in all", *(str(len(audit.findings)) for audit in made.values())])
    rows.append(["features printed", *(str(audit.n_features) for audit in made.values())])
    rows.append(["places to a hundred features", *(_to_a_hundred(audit) for audit in made.values())])
    return [
        Table("By rule", ["a rule is kept where", *made], rows),
        Table("By symbol", SYMBOL_COLUMNS, _by_symbol(made)),
    ]


SYMBOL_COLUMNS = ["draft", "rule", "symbol", "beside", "places", "asked", "least found"]


def _by_symbol(made: Mapping[str, Audit]) -> list[list[str]]:
    """Rows with SYMBOL_COLUMNS; sizes in the unit of the rule."""
    rows = []
    for name, audit in made.items():
        for (rule, symbol, other), places in audit.findings.groupby(["rule", "symbol", "other"], sort=True):
            unit = places["unit"].iloc[0]
            sizes = [f"{value:g} {unit}" for value in (places["asked"].iloc[0], places["found"].min())]
            rows.append([name, *map(str, (rule, symbol, other or "-", len(places))), *sizes])
    return rows


def _to_a_hundred(audit: Audit) -> str:
    """A feature may fall short at several places, so this may be more than 100."""
    return f"{100 * len(audit.findings) / audit.n_features:.1f}" if audit.n_features else "-"


if __name__ == "__main__":
    named = dict(text.split("=", 1) for text in sys.argv[1:])
    for table in audits({name: Path(out) for name, out in named.items()}):
        print("\n".join(table.as_markdown()))
