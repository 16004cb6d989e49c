"""What the virtual box's `machine` and `time` offer has the signatures that the published board stubs give."""

import ast
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from gaugelight.virtual import ChipInProcess, Inputs, Outputs
from gaugelight.virtual.in_process import CHIP_FOLDER

ANY = object()  # a default that the stubs leave open
REQUIRED = object()


class Parameter:
    def __init__(self, name: str, kind: str, default: object) -> None:
        self.name, self.kind, self.default = name, kind, default

    def __repr__(self) -> str:
        default = {REQUIRED: "", ANY: "=..."}.get(self.default, f"={self.default!r}")
        return f"{self.kind} {self.name}{default}"


def parameters(function: ast.FunctionDef) -> list[Parameter]:
    """Positional-only counts as positional: MicroPython has no syntax for it."""

    def default(node: ast.expr | None) -> object:
        if node is None:
            return REQUIRED
        value = ast.literal_eval(node)
        return ANY if value is ... else value

    a = function.args
    assert a.vararg is None and a.kwarg is None, f"{function.name} takes anything"
    positional = a.posonlyargs + a.args
    defaults = [None] * (len(positional) - len(a.defaults)) + list(a.defaults)
    found = [Parameter(p.arg, "positional", default(d)) for p, d in zip(positional, defaults)]
    found += [Parameter(p.arg, "keyword", default(d)) for p, d in zip(a.kwonlyargs, a.kw_defaults)]
    return [p for p in found if p.name != "self"]


def merged(overloads: list[ast.FunctionDef]) -> list[Parameter]:
    """One signature that takes what any of the overloads takes: what one of them lacks is optional."""
    each = [parameters(overload) for overload in overloads]
    result: dict[str, Parameter] = {}
    for signature in sorted(each, key=len, reverse=True):
        for p in signature:
            result.setdefault(p.name, Parameter(p.name, p.kind, p.default))
            assert result[p.name].kind == p.kind
    for p in result.values():
        here = [q.default for signature in each for q in signature if q.name == p.name]
        if (
            len(here) < len(each)
            and all(default is REQUIRED for default in here)
            or len(set(map(repr, here))) > 1
        ):
            p.default = ANY
    return list(result.values())


def differences(ours: list[Parameter], theirs: list[Parameter]) -> bool:
    if [(p.kind, p.name) for p in ours] != [(p.kind, p.name) for p in theirs]:
        return True
    return any(
        (our.default is REQUIRED) if their.default is ANY else our.default != their.default
        for our, their in zip(ours, theirs)
    )


def functions(body: list[ast.stmt]) -> dict[str, list[ast.FunctionDef]]:
    found: dict[str, list[ast.FunctionDef]] = {}
    for node in body:
        if isinstance(node, ast.FunctionDef):
            found.setdefault(node.name, []).append(node)
    return found


def constants(body: list[ast.stmt]) -> dict[str, object]:
    found: dict[str, object] = {}
    for node in body:
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            value = node.value
            found[node.target.id] = value.value if isinstance(value, ast.Constant) else ...
    return found


def classes(body: list[ast.stmt]) -> dict[str, list[ast.stmt]]:
    return {node.name: node.body for node in body if isinstance(node, ast.ClassDef)}


def public(name: str) -> bool:
    return not name.startswith("_") or name in ("__init__", "__call__")


def assigned(body: list[ast.stmt]) -> Iterator[str]:
    for node in body:
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            yield node.targets[0].id


def compare(where: str, ours: list[ast.stmt], theirs: list[ast.stmt], values: object) -> list[str]:
    wrong = []
    stub_functions, stub_constants = functions(theirs), constants(theirs)
    for name, definitions in functions(ours).items():
        if public(name):
            if name not in stub_functions:
                wrong.append(f"{where}.{name}: the board has no such function")
                continue
            our, their = parameters(definitions[0]), merged(stub_functions[name])
            if differences(our, their):
                wrong.append(f"{where}.{name}: {our} instead of {their}")
    for name in assigned(ours):
        if public(name):
            if name not in stub_constants:
                wrong.append(f"{where}.{name}: the board has no such constant")
            elif stub_constants[name] not in (..., getattr(values, name)):
                wrong.append(f"{where}.{name}: {getattr(values, name)} instead of {stub_constants[name]}")
    return wrong


def all_differences(name: str, source: str, stubs: Path, module: ModuleType) -> list[str]:
    ours, theirs = ast.parse(source).body, ast.parse((stubs / f"{name}.pyi").read_text()).body
    wrong = compare(name, ours, theirs, module)
    for class_name, body in classes(ours).items():
        stub = classes(theirs).get(class_name)
        if class_name.startswith("_"):
            continue  # of its own making
        if stub is None:
            wrong.append(f"{name}.{class_name}: the board has no such class")
        else:
            wrong += compare(f"{name}.{class_name}", body, stub, getattr(module, class_name))
    return wrong


class Nothing:
    def step(self, elapsed_ms: int, outputs: Outputs) -> Inputs:
        return Inputs()


@pytest.mark.parametrize("name", ["machine", "time"])
def test_signatures_are_the_board_s(name: str, typings: Path) -> None:
    source = (CHIP_FOLDER / f"{name}.py").read_text()
    assert all_differences(name, source, typings, getattr(ChipInProcess(Nothing()), name)) == []


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        (("def feed(self)", "def feed(self, twice)"), "machine.WDT.feed"),
        (("*, id=0, timeout=5000", "id=0, timeout=5000"), "machine.WDT.__init__"),
        (("timeout=5000", "timeout=4000"), "machine.WDT.__init__"),
        (("def readfrom_into", "def readfrom_onto"), "machine.I2C.readfrom_onto"),
        (("def read_u16", "def read_u12"), "machine.ADC.read_u12"),
        (("class WDT", "class Watchdog"), "machine.Watchdog"),
    ],
)
def test_a_wrong_signature_is_found(change: tuple[str, str], complaint: str, typings: Path) -> None:
    source = (CHIP_FOLDER / "machine.py").read_text()
    assert change[0] in source
    found = all_differences("machine", source.replace(*change), typings, ChipInProcess(Nothing()).machine)
    assert [line.split(":")[0] for line in found] == [complaint]
