"""In the toolkit no text becomes code, and one module alone writes to disk."""

import ast

import pytest

from tests.house.tree import calls, dotted, faults_over

# One module writes to disk; the others give it text or bytes. Another copies a folder into a temporary one, which is
# thrown away.
WRITER = "toolkit/campaign/storage.py"
COPIER = "toolkit/campaign/tried_out.py"

CODE_FROM_TEXT = {"eval", "exec", "compile", "__import__", "yaml.load", "yaml.unsafe_load", "os.system"}
CODE_FROM_TEXT |= {"os.popen", "subprocess.getoutput", "subprocess.getstatusoutput", "runpy.run_path"}
# Methods that run text (of frames, of numexpr) or unpickle, whatever they are called on.
RUNS_TEXT = {"eval", "query", "read_pickle", "to_pickle", "full_load", "from_formula"}
UNSAFE_MODULES = {"pickle", "dill", "cloudpickle", "shelve", "marshal", "joblib", "code", "runpy"}

WRITES = {"write_text", "write_bytes", "touch", "unlink", "rmdir", "mkdir", "chmod", "symlink_to"}
WRITES |= {"hardlink_to", "to_excel", "to_parquet", "to_feather", "to_hdf", "tofile", "savetxt", "savez"}
WRITES_UNLESS_TEXT = {"to_csv", "to_json", "to_html", "to_markdown", "to_string", "to_latex"}
WRITES_UNLESS_BUFFER = {"savefig", "save", "ZipFile"}
WRITING_CALLS = {
    f"{module}.{name}"
    for module, names in {
        "os": "replace rename renames remove unlink mkdir makedirs rmdir open truncate link symlink",
        "shutil": "copy copy2 copyfile copytree move rmtree make_archive unpack_archive",
        "tempfile": "mkstemp mkdtemp NamedTemporaryFile",
        "nbformat": "write",
    }.items()
    for name in names.split()
}
READ_MODES = {"r", "rb", "rt", "br"}


def keyword(call: ast.Call, name: str) -> ast.expr | None:
    """The value given for a keyword of a call."""
    return next((item.value for item in call.keywords if item.arg == name), None)


def is_constant(node: ast.expr | None, value: object) -> bool:
    """Whether the expression is that constant, or is not there."""
    return node is None or (isinstance(node, ast.Constant) and node.value is value)


def code_faults(tree: ast.AST) -> list[str]:
    """Every place where text may become code."""
    faults = []
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            names = [node.module or ""]
        faults += [f"line {node.lineno}: import {n}" for n in names if n.split(".")[0] in UNSAFE_MODULES]
    for call, name in calls(tree):
        last = name.rpartition(".")[2]
        if name in CODE_FROM_TEXT or ("." in name and last in RUNS_TEXT):
            faults.append(f"line {call.lineno}: {name}()")
        elif last == "import_module" and not (call.args and isinstance(call.args[0], ast.Constant)):
            faults.append(f"line {call.lineno}: {name}() of a name that is not written out")
        for risky in ("shell", "allow_pickle"):
            if not is_constant(keyword(call, risky), False):
                faults.append(f"line {call.lineno}: {name}({risky}=...)")
    return faults


def buffers(tree: ast.AST) -> set[str]:
    """Names that somewhere in the tree are given an ``io.BytesIO`` or ``io.StringIO``."""
    kept = set()
    for node in ast.walk(tree):
        pairs: list[tuple[ast.expr, ast.expr | None]] = []
        if isinstance(node, ast.Assign):
            pairs = [(target, node.value) for target in node.targets]
        elif isinstance(node, ast.AnnAssign):
            pairs = [(node.target, node.value)]
        elif isinstance(node, ast.With):
            pairs = [(item.optional_vars, item.context_expr) for item in node.items if item.optional_vars]
        for target, value in list(pairs):
            if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
                pairs += zip(target.elts, value.elts, strict=False)
        for target, value in pairs:
            if isinstance(value, ast.Call) and dotted(value.func).endswith(("BytesIO", "StringIO")):
                kept.add(dotted(target))
    return kept


def opens_for_writing(call: ast.Call, name: str) -> bool:
    """Whether an ``open`` call may write: a mode that is not written out counts as one that does."""
    place = 1 if name in {"open", "io.open", "gzip.open", "codecs.open"} else 0
    mode = keyword(call, "mode") or (call.args[place] if len(call.args) > place else None)
    if name not in {"open", "io.open"} and mode is not None and not isinstance(mode, ast.Constant):
        return False
    return mode is not None and not (isinstance(mode, ast.Constant) and mode.value in READ_MODES)


def writing_faults(tree: ast.AST) -> list[str]:
    """Every place where a file may be written, moved or removed."""
    faults, in_memory = [], buffers(tree)
    for call, name in calls(tree):
        if name.startswith("storage."):
            continue
        last = name.rpartition(".")[2]
        method = "." in name
        target = call.args[0] if call.args else None
        writes = (
            name in WRITING_CALLS
            or (method and last in WRITES)
            or (method and last in WRITES_UNLESS_TEXT and bool(target or keyword(call, "path_or_buf")))
            or (last in WRITES_UNLESS_BUFFER and target is not None and dotted(target) not in in_memory)
            or (last == "open" and opens_for_writing(call, name))
        )
        if last in WRITES_UNLESS_TEXT and target is not None and dotted(target) in in_memory:
            writes = False
        if last == "ZipFile" and writes:
            mode = keyword(call, "mode") or (call.args[1] if len(call.args) > 1 else None)
            writes = mode is not None and ast.unparse(mode) != "'r'"
        if writes:
            faults.append(f"line {call.lineno}: {name}()")
    return faults


def test_no_text_becomes_code():
    assert faults_over("toolkit", lambda text, tree: code_faults(tree)) == []


def test_one_module_writes_to_disk():
    found = faults_over("toolkit", lambda text, tree: writing_faults(tree), but=WRITER)
    calls_of_copier = {fault.rpartition(" ")[2] for fault in found if fault.startswith(f"{COPIER}: ")}
    assert calls_of_copier == {"copy.parent.mkdir()", "place.parent.mkdir()", "target.mkdir()", "place.symlink_to()",
                               "shutil.copy2()"}  # fmt: skip
    assert [fault for fault in found if not fault.startswith(f"{COPIER}: ")] == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("eval('1')", "line 1: eval()"),
        ("exec(x)", "line 1: exec()"),
        ("import pickle", "line 1: import pickle"),
        ("from pickle import loads", "line 1: import pickle"),
        ("import yaml\nyaml.load(x)", "line 2: yaml.load()"),
        ("subprocess.run(x, shell=True)", "line 1: subprocess.run(shell=...)"),
        ("subprocess.run(x, shell=y)", "line 1: subprocess.run(shell=...)"),
        ("frame.eval('a')", "line 1: frame.eval()"),
        ("frame.query(text)", "line 1: frame.query()"),
        ("f(x).query('a > 1')", "line 1: ?.query()"),
        ("np.load(p, allow_pickle=True)", "line 1: np.load(allow_pickle=...)"),
        ("os.system('ls')", "line 1: os.system()"),
        ("importlib.import_module(x)", "line 1: importlib.import_module() of a name that is not written out"),
        ("smf.ols.from_formula(x)", "line 1: smf.ols.from_formula()"),
    ],
)
def test_text_that_becomes_code_is_found(text, found):
    assert code_faults(ast.parse(text)) == [found]


def test_safe_calls_are_let_through():
    text = "re.compile('a')\nnp.load(p, allow_pickle=False)\nrun([a], shell=False)\nmodel.evaluate()"
    assert code_faults(ast.parse(text)) == []


@pytest.mark.parametrize(
    "text",
    [
        "open(p, 'w')",
        "open(p, mode='ab')",
        "open(p, mode)",
        "path.open('w')",
        "path.write_text(t)",
        "path.write_bytes(b)",
        "frame.to_csv('x.csv')",
        "frame.to_csv(path_or_buf=p)",
        "frame.to_excel(p)",
        "figure.savefig('x.png')",
        "figure.savefig(path)",
        "book.save(path)",
        "os.replace(a, b)",
        "shutil.rmtree(a)",
        "path.mkdir()",
        "path.unlink()",
        "zipfile.ZipFile(p, 'w')",
        "nbformat.write(book, path)",
        "open(p, 'r+')",
    ],
)
def test_a_write_is_found(text):
    called = ast.unparse(ast.parse(text).body[0].value.func)
    assert writing_faults(ast.parse(text)) == [f"line 1: {called}()"]


@pytest.mark.parametrize(
    "text",
    [
        "open(p)",
        "open(p, 'rb')",
        "path.open()",
        "path.open(mode='r')",
        "frame.to_csv()",
        "frame.to_csv(index=False)",
        "b = io.BytesIO()\nfigure.savefig(b, format='png')",
        "a, b = io.BytesIO(), io.BytesIO()\nfigure.savefig(b)",
        "with io.BytesIO() as b:\n    book.save(b)",
        "out = io.StringIO()\nframe.to_csv(out)",
        "zipfile.ZipFile(p)",
        "zipfile.ZipFile(p, 'r')",
        "name.replace('a', 'b')",
        "frame.rename(columns=c)",
        "storage.write_text(path, text)",
    ],
)
def test_reading_and_memory_are_let_through(text):
    assert writing_faults(ast.parse(text)) == []
