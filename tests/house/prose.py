"""What people read of the project, as words: documents, notebooks, templates, and the sentences of the toolkit.

``python -m tests.house.prose`` prints the words that no list holds, with the files they stand in.
"""

import re

from tests.house.tree import ROOT, sources, tracked

# Debian's list of words in British spelling, which .ci/run installs as it installs Chromium.
DICTIONARY = "/usr/share/dict/british-english"
OWN = ROOT / "tests/house/words.txt"
# Code, addresses, names of files: they follow no spelling.
NOT_PROSE = re.compile(
    r"^ *(?:```|~~~)[\s\S]*?^ *(?:```|~~~)|`[^`\n]*`|\{\{[\s\S]*?\}\}|\{%[\s\S]*?%\}|<[^<>]*>"
    r"|&[#\w]+;|\$[^$\n]+\$|\]\([^)]*\)|\{[^{}\n]*\}|https?:\S+",
    re.MULTILINE,
)
LITERAL = re.compile(r'"""[\s\S]*?"""|"((?:[^"\\\n]|\\.)*)"')
# Where matplotlib puts a legend, in its own spelling.
PLACES = re.compile(r"(?:outside |upper |lower |center |left|right|center)+")
WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)*")


def words(text: str) -> set[str]:
    """The words of a prose text as they are spelt; names of code, figures with units and abbreviations left out."""
    found = set()
    for token in NOT_PROSE.sub(" ", text).replace("\\n", " ").split():
        plain = token.strip("\"'“”‘’«»()[]{}*.,;:!?…|>#-–—")
        if plain and not re.search(r"[\d_/=<>\[\](){}$\\@.~:*+^|\"]|--|×|÷", plain):
            parts = plain.replace("–", "-").replace("—", "-").split("-")
            # The beginning of a text within a text of code is no word.
            spelt = (part for part in parts if WORD.fullmatch(part) and not part.startswith("f'"))
            found |= {part for part in spelt if part.islower() or part.istitle()}
    return found


def literals(text: str) -> str:
    """The texts in the source of a module that hold more than one word, its docstrings left out."""
    held = (match[1] for match in LITERAL.finditer(re.sub(r"^ *#.*$", "", text, flags=re.MULTILINE)) if match[1])
    return "\n".join(
        part for part in held if re.search(r"[a-z,;:.] +\w*[a-z]", part) and not PLACES.fullmatch(part)
    )


def comments(text: str) -> str:
    """The comments of a TOML file that are sentences, not lines that could be turned on."""
    lines = (line.lstrip()[1:] for line in text.splitlines() if line.lstrip().startswith("#"))
    return "\n".join(line for line in lines if not re.match(r" *[\[\w.]+ *(=|\])", line))


def known() -> set[str]:
    """The dictionary and the words of the house; a capital in them asks for one."""
    with open(DICTIONARY, encoding="utf-8") as handle:
        return {*handle.read().split(), *own()}


def own() -> list[str]:
    """The words of the house, in order."""
    return OWN.read_text(encoding="utf-8").split()


def is_known(word: str, among: set[str]) -> bool:
    """Whether a word is spelt as in the list; a capital at its beginning is let through."""
    plain = word.replace("’", "'")
    base = plain.removesuffix("'s")
    return bool({plain, base, plain.lower(), base.lower()} & among)


def everything() -> dict[str, str]:
    """Name of a file to what people read of it."""
    from tests.house.test_documents import guides, prose

    told = {name: prose(name) for name in guides()}
    told |= {name: literals(text) for name, text in sources("toolkit").items()}
    for name in tracked():
        if name.startswith(("templates/", "data/")) and name.endswith(".toml"):
            told[name] = comments((ROOT / name).read_text(encoding="utf-8"))
        elif name.endswith(".j2"):
            told[name] = re.sub(r"<style[\s\S]*?</style>", "", (ROOT / name).read_text(encoding="utf-8"))
    return told


def strange() -> dict[str, list[str]]:
    """Word that no list holds to the files it stands in."""
    among, found = known(), {}
    for name, text in everything().items():
        for word in words(text):
            if not is_known(word, among):
                found.setdefault(word, []).append(name)
    return dict(sorted(found.items()))


if __name__ == "__main__":
    for word, files in strange().items():
        print(word, *files)
