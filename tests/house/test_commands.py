"""Every verb of the command is documented, has an example that parses, and takes ``--json``."""

import argparse
import re
import shlex

from tests.house.tree import ROOT

# It hands the terminal over to JupyterLab and has nothing to say in JSON.
NO_JSON = {"lab"}


def verbs(parser: argparse.ArgumentParser) -> dict[str, tuple[str, argparse.ArgumentParser]]:
    """Short help and parser of each verb."""
    found = {}
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            short = {choice.dest: choice.help or "" for choice in action._choices_actions}
            found |= {verb: (short.get(verb, ""), below) for verb, below in action.choices.items()}
    return found


def examples(text: str, verb: str) -> list[str]:
    """The lines of a help text that call the verb; a leading ``$`` is left out."""
    lines = [line.strip().removeprefix("$ ") for line in text.splitlines()]
    return [line for line in lines if re.match(rf"wearbook {verb}(\s|$)", line)]


def documents() -> str:
    """README.md and DEVELOPERS.md in one."""
    return "\n".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))


def verb_faults(parser: argparse.ArgumentParser, documented: str) -> list[str]:
    """What is lacking in the help or in the documents, verb by verb."""
    faults = [] if verbs(parser) else ["no verbs"]
    for verb, (short, below) in verbs(parser).items():
        if not re.search(rf"\bwearbook {verb}\b", documented):
            faults.append(f"{verb}: not in README.md or DEVELOPERS.md")
        if not short.strip():
            faults.append(f"{verb}: no short help")
        texts = f"{below.description or ''}\n{below.epilog or ''}"
        shown = examples(texts, verb)
        if not shown:
            faults.append(f"{verb}: no example in its help")
        for example in shown:
            try:
                parser.parse_args(shlex.split(example, comments=True)[1:])
            except SystemExit:
                faults.append(f"{verb}: the example does not parse: {example}")
        for action in below._actions:
            if not (action.help or "").strip() and action.help is not argparse.SUPPRESS:
                faults.append(f"{verb}: {'/'.join(action.option_strings) or action.dest} has no help")
        if verb not in NO_JSON and "--json" not in below._option_string_actions:
            faults.append(f"{verb}: no --json")
    return faults


def unknown_verbs(parser: argparse.ArgumentParser, documented: str) -> list[str]:
    """Verbs that the documents call and the command does not have."""
    known = set(verbs(parser))
    called = re.findall(r"(?:^|[/ ])wearbook ([a-z]+)", code_of(documented), re.M)
    return sorted(set(called) - known)


def code_of(text: str) -> str:
    """The fenced lines and the `quoted` pieces of a Markdown text, one a line."""
    fenced = re.findall(r"^```[^\n]*\n(.*?)^```", text, re.M | re.S)
    rest = re.sub(r"^```[^\n]*\n.*?^```", "", text, flags=re.M | re.S)
    return "\n".join([*fenced, *re.findall(r"`([^`\n]+)`", rest)])


def test_every_verb_is_documented_and_has_an_example():
    from toolkit.cli.arguments import parser

    assert verb_faults(parser(), documents()) == []


def test_the_documents_name_no_verb_that_is_not_there():
    from toolkit.cli.arguments import parser

    assert unknown_verbs(parser(), documents()) == []


def test_the_demo_takes_a_folder():
    from toolkit.cli.arguments import parser

    # README.md and the packaging tests rest on this: a folder of one's own, else ./wearbook-demo.
    assert "--to" in verbs(parser())["demo"][1]._option_string_actions


def made() -> argparse.ArgumentParser:
    """A command with one verb in order and one with every fault."""
    parser = argparse.ArgumentParser(prog="wearbook")
    below = parser.add_subparsers(dest="verb")
    size = below.add_parser("size", help="size it", epilog="wearbook size pins --json")
    size.add_argument("campaign", help="folder of the campaign")
    size.add_argument("--json", action="store_true", help="print JSON")
    plan = below.add_parser("plan", epilog="example:\n  $ wearbook plan --wrong")
    plan.add_argument("--seed")
    below.add_parser("lab", help="open it")
    return parser


def test_what_is_lacking_is_found(capsys):
    assert verb_faults(made(), "`wearbook size` and `wearbook lab`") == [
        "plan: not in README.md or DEVELOPERS.md",
        "plan: no short help",
        "plan: the example does not parse: wearbook plan --wrong",
        "plan: --seed has no help",
        "plan: no --json",
        "lab: no example in its help",
    ]
    assert "unrecognized arguments: --wrong" in capsys.readouterr().err
    assert verb_faults(argparse.ArgumentParser(), "") == ["no verbs"]


def test_a_verb_that_is_not_there_is_found():
    text = "The wearbook is here.\n```sh\n.venv/bin/wearbook sise x\n```\n`wearbook size x`, `wearbook lap`."
    assert unknown_verbs(made(), text) == ["lap", "sise"]
