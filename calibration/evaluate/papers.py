"""Puts what the evaluation printed into the papers, so that no figure in them is typed in.

``python -m calibration.evaluate > calibration/evaluate/report.txt`` first, with the weights that are shipped, then
``python -m calibration.evaluate.papers``: README.md and the model card get their tables anew, between the two comments
``measured`` and ``/measured``.
"""

from __future__ import annotations

import re
from pathlib import Path

__all__ = ["PAPERS", "REPORT", "figures", "table", "with_table"]

ROOT = Path(__file__).resolve().parents[2]
REPORT = Path(__file__).with_name("report.txt")
PAPERS = (ROOT / "README.md", ROOT / "calibration" / "MODEL_CARD.md")

_BETWEEN = re.compile(r"(<!-- measured[^\n]*-->\n).*?(<!-- /measured -->)", re.DOTALL)

_WRIST = (
    r".* flexion +(?P<flexion>[\d.]+) .*?(?:in 90 % (?P<flexion_in>[\d.]+)%)? +deviation +(?P<deviation>[\d.]+) "
    r".*?(?:in 90 % (?P<deviation_in>[\d.]+)%)?$"
)
_LIFT = r" +[\d.]+% of +\d+ +(?:lift +)?(?P<error>[\d.]+) .*in 90 % (?P<within>[\d.]+)%$"
_HELD = (
    r": (?P<fired>\d+) warnings, (?P<rightly>\d+) of them true .*; "
    r"(?P<holds>\d+) true holds, (?P<caught>\d+) warned"
)
#: A line of the report begins with the first; the second finds its figures, named.
_LINES = {
    "constant": ("all: constant", _WRIST),
    "pictures": ("all: ours", _WRIST),
    "fretting_videos": ("fretting, with time", _WRIST),
    "plucking_videos": ("plucking, with time", _WRIST),
    "lift": ("  lift of the fingers that are reported", _LIFT),
    "lift_videos": ("fretting, with time", _LIFT),
    "lift_constant": ("  always saying that those are down", r": off by (?P<error>[\d.]+) mm"),
    "upper": ("  upper +fretting:", r" +[\d.]+% +(?P<reported>[\d.]+)%"),
    "headless": ("  headless +fretting:", r" +[\d.]+% +(?P<reported>[\d.]+)%"),
    "close": ("  close +fretting:", r" +[\d.]+% +(?P<reported>[\d.]+)%"),
    "wrongly": ("  numbers reported of no hand", r".*: (?P<count>\d+) of (?P<all>\d+)"),
    "fretting_holds": ("fretting, held extreme angles", _HELD),
    "plucking_holds": ("plucking, held extreme angles", _HELD),
    "high": ("fretting, fingers held high", _HELD),
}
_FRAMINGS = {"upper": "upper body", "headless": "head outside the frame", "close": "close-up"}


def figures(report: str) -> dict[str, dict[str, str]]:
    """Figures by line and name, as they were printed. Raises ValueError for a report that lacks a line."""
    found = {}
    for name, (begins, figures_in) in _LINES.items():
        match = re.search(f"^{begins}{figures_in}", report, re.MULTILINE)
        if match is None:
            raise ValueError(f"the report has no line that begins with {begins!r}")
        found[name] = {key: value for key, value in match.groupdict().items() if value is not None}
    return found


def table(report: str) -> str:
    """The table of how good the measurement is, and what a player has of it, as Markdown."""
    of = figures(report)
    lines = [
        "| Measured | On rendered | Mean error | Always the middle value | Truth inside the 90 % interval |",
        "|---|---|---|---|---|",
    ]
    constant = "{flexion}° and {deviation}°".format(**of["constant"])
    for where, name, without in (
        ("pictures", "pictures", constant),
        ("videos, fretting hand", "fretting_videos", ""),
        ("videos, plucking hand", "plucking_videos", ""),
    ):
        errors = "{flexion}° and {deviation}°".format(**of[name])
        within = "{flexion_in} and {deviation_in} %".format(**of[name])
        lines.append(f"| wrist flexion and ulnar deviation | {where} | {errors} | {without} | {within} |")
    for where, line, constant in (
        ("pictures", of["lift"], f"{of['lift_constant']['error']} mm"),
        ("videos", of["lift_videos"], ""),
    ):
        lines.append(
            f"| lift of the fretting fingers reported | {where} | {line['error']} mm | {constant} "
            f"| {line['within']} % |"
        )
    total = {
        key: sum(int(of[f"{role}_holds"][key]) for role in ("fretting", "plucking"))
        for key in ("fired", "rightly", "holds", "caught")
    }
    high = {key: int(value) for key, value in of["high"].items()}
    shares = [f"{of[framing]['reported']} % ({words})" for framing, words in _FRAMINGS.items()]
    lines += [
        "",
        f"- Of fretting hands in view, both wrist numbers are reported for {', '.join(shares)}.",
        f"- Of {of['wrongly']['all']} hands with a number, {of['wrongly']['count']} were no hand, or the other one.",
        f"- Of {total['holds']} extreme angles held in view in the videos, {total['caught']} were warned of; of "
        f"{total['fired']} warnings, {total['fired'] - total['rightly']} were false.",
        f"- Of {high['holds']} fingers held high, {high['caught']} were flagged; of {high['fired']} flags, "
        f"{high['fired'] - high['rightly']} were false.",
        "",
    ]
    return "\n".join(lines)


def with_table(paper: str, made: str) -> str:
    """The paper with `made` between its two comments. Raises ValueError where it has none."""
    if not _BETWEEN.search(paper):
        raise ValueError("the paper has no place for the table")
    return _BETWEEN.sub(lambda found: found[1] + made + found[2], paper)


def main() -> None:
    made = table(REPORT.read_text(encoding="utf-8"))
    for path in PAPERS:
        path.write_text(with_table(path.read_text(encoding="utf-8"), made), encoding="utf-8")


if __name__ == "__main__":
    main()
