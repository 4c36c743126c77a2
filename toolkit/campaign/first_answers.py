"""The commented campaign.toml of a new campaign with a person's first answers in it, valid at once (rank 9)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from toolkit import measured_in, shipped
from toolkit.brief import reading
from toolkit.errors import CampaignError

_ANY = "Replace this by the question in one sentence: which change, by how much, for which decision?"
_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?")
# Nobody is asked which way is better: the line says so.
_UNASKED = '# not asked: as better above; "either" if a change both ways is of interest'
_DIRECTION = f'direction = "smaller"                 {_UNASKED}'
_DECIMAL_COMMA = re.compile(r"-?\d+,\d+")
_LEVEL = re.compile(r"\s*([^=,]+?)\s*(?:=\s*([^,]*?)\s*)?(?:,|$)")


@dataclass(frozen=True)
class FirstFactor:
    """A factor as it is first told: its name, what is undone to change it, its levels with what they mean."""

    name: str
    undo: str
    levels: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class FirstAnswers:
    """What a campaign is begun with; everything else is the template's.

    Attributes
    ----------
    id, question : str
    seed : int
    factors : tuple of FirstFactor
    response : str
        The primary response, with its unit.
    stations : int
        Places on a part that are measured in every run; 0: one figure a run.
    worthwhile_change_pct : float
    """

    id: str
    question: str = _ANY
    seed: int = 1
    factors: tuple[FirstFactor, ...] = (
        FirstFactor("factor_a", "part", (("A0", "as it is today"), ("A1", "the change proposed"))),
        FirstFactor("factor_b", "fill", (("B0", "as it is today"), ("B1", "the change proposed"))),
    )
    response: str = "wear_um"
    stations: int = 4
    worthwhile_change_pct: float = 20.0


def levels_of(text: str) -> tuple[tuple[str, str], ...]:
    """Levels from one line: 'P0 = ground steel, P1 = coated', the first as it is today; what they mean may be left
    out."""
    found = [(name, told or "") for name, told in _LEVEL.findall(text)]
    return tuple((name, told or name) for name, told in found)


def doubt(text: str) -> str | None:
    """Why a line of levels may not mean what it would be read as; None where there is no doubt.

    A comma parts levels. One that was meant as a decimal sign, or stands within what a level means, would make a level
    that nobody asked for, and with it runs.
    """
    pieces = [piece.strip() for piece in text.split(",")]
    pieces = pieces if pieces[-1] else pieces[:-1]
    nameless = [piece for piece in pieces if not piece.partition("=")[0].strip()]
    if nameless:
        return f"'{nameless[0]}' names no level; write levels with a comma between them, as P0 = ground, P1 = coated."
    comma = _DECIMAL_COMMA.search(text)
    if comma:
        point = comma[0].replace(",", ".")
        parted = comma[0].replace(",", ", ")
        return (
            f"'{comma[0]}' is one number or two; write a point in a number ({point}), or a blank after a comma that "
            f"parts levels ({parted})."
        )
    bare = [piece for piece in pieces if "=" not in piece]
    if bare and len(bare) < len(pieces):
        return (
            f"'{bare[0]}' stands without its meaning among levels that have one; write '{bare[0]} = {bare[0]}' if it "
            f"is a level, and no comma within a meaning."
        )
    return None


def factor_of(text: str) -> FirstFactor:
    """A factor from one line: 'pin: part: P0 = ground steel, P1 = coated'; what is not told is empty.

    Raises
    ------
    CampaignError
        When a comma among its levels leaves open what they are.
    """
    name, undo, levels = (*(piece.strip() for piece in text.split(":", 2)), "", "")[:3]
    problem = doubt(levels)
    if problem:
        raise CampaignError(f"--factor {name}: {problem}")
    return FirstFactor(name, undo, levels_of(levels))


def text(answers: FirstAnswers) -> str:
    """The text of campaign.toml.

    Parameters
    ----------
    answers : FirstAnswers

    Raises
    ------
    BriefError
        When it would not be in order: every answer that does not fit is told.
    """
    made = (shipped.folder("templates") / "campaign" / "campaign.toml").read_text(encoding="utf-8")
    made = _line(made, "id", _quoted(answers.id))
    made = _line(made, "question", _quoted(answers.question))
    made = _line(made, "seed", str(answers.seed))
    first = FirstAnswers(answers.id)
    if answers.factors != first.factors:
        made = _section(made, "[[factor]]\n", "# --- Positions", "".join(map(_factor, answers.factors)))
        made = _section(made, "[[comparison]]\n", "# --- Picking", _comparisons(answers.factors))
        made = _section(made, "combinations = [ ", "replicates = 2 ", _pilot(answers.factors))
        made = _examples(made, answers.factors)
    if any(item.undo == "build" for item in answers.factors):
        made = made.replace('[blocks]\nby = "build" ', '# [blocks]\n# by = "build" ')
        made = made.replace("builds = 1\nuse =", "builds = 2\nuse =")
    made = _response(made, answers, first)
    reading.parse(made)
    return made


def _line(made: str, key: str, value: str) -> str:
    """The first line of a key with another value, its comment where it stood."""
    def put(found: re.Match[str]) -> str:
        """The line again."""
        told = found.group(1) or ""
        return f"{f'{key} = {value}':<37} {told}".rstrip()

    return re.sub(rf"(?m)^{key} = (?:\"[^\"\n]*\"|\d+)[ ]*(#.*)?$", put, made, count=1)


def _section(made: str, begins: str, ends: str, by: str) -> str:
    """What stands from one text up to another one, replaced."""
    start = made.index(begins)
    return made[:start] + by + made[made.index(ends, start) :]


def _factor(item: FirstFactor) -> str:
    """A factor as it is written."""
    levels = ", ".join(f"{_key(name)} = {_quoted(told)}" for name, told in item.levels)
    told = f"[{', '.join(name for name, _ in item.levels)}]" if _numeric(item) else f"{{ {levels} }}"
    return f"[[factor]]\nname = {_quoted(item.name)}\nundo = {_quoted(item.undo)}\nlevels = {told}\n\n"


def _numeric(item: FirstFactor) -> bool:
    """True for numbers of a factor whose name tells their unit; what they mean was not said beside them."""
    plain = all(_NUMBER.fullmatch(name) and told == name for name, told in item.levels)
    return plain and measured_in.suffix_of(item.name) is not None


def _level(item: FirstFactor, name: str) -> str:
    """A level as comparisons and the pilot write it."""
    return name if _numeric(item) else _quoted(name)


def _comparisons(factors: tuple[FirstFactor, ...]) -> str:
    """Every level against the baseline of its factor, and the first two factors together where they have two each."""
    lines = []
    for item in factors:
        for name, _ in item.levels[1:]:
            lines += [
                "[[comparison]]",
                f"name = {_quoted(f'{item.name} {name}')}",
                f"of = {{ {_key(item.name)} = {_level(item, name)} }}",
                f"against = {{ {_key(item.name)} = {_level(item, item.levels[0][0])} }}",
                _DIRECTION,
                "",
            ]
    two = [item.name for item in factors if len(item.levels) == 2][:2]
    if len(two) == 2:
        lines += [
            "[[comparison]]",
            f"name = {_quoted(f'does {two[0]} need {two[1]}')}",
            f"interaction = [{_quoted(two[0])}, {_quoted(two[1])}]",
            'direction = "either"',
            "",
        ]
    return "\n".join([*lines, ""])


def _pilot(factors: tuple[FirstFactor, ...]) -> str:
    """The baseline, and the first factor changed."""
    # A factor without levels is told by the check of the brief, at its line.
    base = {item.name: _level(item, item.levels[0][0]) for item in factors if item.levels}
    rows = [base]
    first = next((item for item in factors if item.undo != "build" and len(item.levels) > 1), None)
    if first is not None:
        rows.append(base | {first.name: _level(first, first.levels[1][0])})
    told = [", ".join(f"{_key(name)} = {level}" for name, level in row.items()) for row in rows]
    head = "combinations = [                      # each with a level of every factor"
    return "\n".join([head, *(f"  {{ {row} }}," for row in told), "]", ""])


def _examples(made: str, factors: tuple[FirstFactor, ...]) -> str:
    """The remarks with the names of these factors in place of the template's."""
    named = [item for item in factors if item.levels]
    if not named:
        return made
    one, other = named[0], named[min(1, len(named) - 1)]
    names = {"factor_a": one.name, "factor_b": other.name}
    for letter, item in (("A", one), ("B", other)):
        names[f'"{letter}0"'] = _quoted(item.levels[0][0])
        names[f'"{letter}1"'] = _quoted(item.levels[-1][0])
        names[f"{letter}0 = "] = f"{_key(item.levels[0][0])} = "
    lines = []
    for line in made.split("\n"):
        if line.startswith("#"):
            for old, new in names.items():
                line = line.replace(old, new)
        lines.append(line)
    return "\n".join(lines)


def _response(made: str, answers: FirstAnswers, first: FirstAnswers) -> str:
    """The primary response."""
    start = made.index("[[response]]\n")
    end = made.index("[[response]]\n", start + 1)
    block = made[start:end]
    block = block.replace(f'name = "{first.response}"', f"name = {_quoted(answers.response)}")
    if answers.stations:
        block = block.replace("count = 4,", f"count = {answers.stations},")
    else:
        block = re.sub(r"(?m)^stations = .*\n", "", block).replace('per_run = "mean"', 'per_run = "value"')
    change = f"{answers.worthwhile_change_pct:.15g}"
    block = block.replace("worthwhile_change_pct = 20", f"worthwhile_change_pct = {change}")
    # A campaign that rests on iron in the oil does not ask for it twice.
    rest = made[end:]
    if answers.response == "fe_ppm":
        block = re.sub(r"(?m)^stations = .*\n", "", block)
        block = re.sub(r'per_run = "\w+"', 'per_run = "increase"', block)
        rest = rest[rest.index("# --- Comparisons") :]
    return made[:start] + block + rest


def _quoted(text: str) -> str:
    """Text as TOML holds it."""
    spelt = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in spelt) + '"'


def _key(name: str) -> str:
    """A level name as a key of TOML."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)
