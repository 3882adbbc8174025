"""A notebook run without a notebook program: its code cells one after the other in one namespace, what they print kept.

    python -m tests.notebook docs/season.ipynb DEMO_SEASON

runs it beside a copy of that season and stores the new outputs. Of the format (nbformat 4.5, as JSON) only what a
notebook of ours holds: text cells, code cells, printed text, the value of a last line, and figures as PNG.
"""

from __future__ import annotations

import ast
import base64
import io
import json
import os
import shutil
import sys
import tempfile
from contextlib import redirect_stdout
from pathlib import Path
from typing import Any

SEASON = "demo-season"  # where the notebook looks for it


def run_cells(document: dict[str, Any]) -> list[list[dict[str, Any]]]:
    """The outputs of every code cell, in order. What a cell raises is raised."""
    import matplotlib

    matplotlib.use("Agg")
    space: dict[str, Any] = {"__name__": "notebook"}
    return [
        _run("".join(cell["source"]), space, count)
        for count, cell in enumerate((c for c in document["cells"] if c["cell_type"] == "code"), start=1)
    ]


def _run(source: str, space: dict[str, Any], count: int) -> list[dict[str, Any]]:
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    printed, value = io.StringIO(), None
    with redirect_stdout(printed):
        exec(compile(tree, f"cell {count}", "exec"), space)  # a notebook of ours
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), f"cell {count}", "eval"), space)
    outputs: list[dict[str, Any]] = []
    if printed.getvalue():
        text = printed.getvalue().splitlines(keepends=True)
        outputs.append({"name": "stdout", "output_type": "stream", "text": text})
    outputs += [
        {"data": {"image/png": png, "text/plain": ["<Figure>"]}, "metadata": {}, "output_type": "display_data"}
        for png in _figures()
    ]
    if value is not None:
        data = {"text/plain": repr(value).splitlines(keepends=True)}
        outputs.append({"data": data, "execution_count": count, "metadata": {}, "output_type": "execute_result"})
    return outputs


def _figures() -> list[str]:
    """Every open figure as a small PNG in base64, without the program's name; then closed."""
    from matplotlib import pyplot

    found = []
    for number in pyplot.get_fignums():
        out = io.BytesIO()
        pyplot.figure(number).savefig(out, format="png", dpi=72, bbox_inches="tight", metadata={"Software": None})
        found.append(base64.b64encode(out.getvalue()).decode("ascii") + "\n")
    pyplot.close("all")
    return found


def main(notebook: Path, season: Path) -> None:
    document = json.loads(notebook.read_text(encoding="utf-8"))
    back = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(season, Path(folder) / SEASON, ignore=shutil.ignore_patterns("results", "sheets", "raw"))
        os.chdir(folder)
        try:
            made = run_cells(document)
        finally:
            os.chdir(back)
    code = [cell for cell in document["cells"] if cell["cell_type"] == "code"]
    for count, (cell, outputs) in enumerate(zip(code, made, strict=True), start=1):
        cell["outputs"], cell["execution_count"] = outputs, count
    notebook.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve())
