"""Another wording for every sentence, to show that nothing stored or checked depends on one."""

import sys
from types import FunctionType, ModuleType

from contest.rules import say
from contest.rules.ruleset import words
from judging.rules import workings

EXACT = {workings.weighted, say.total_text, say.number_text}
"""Functions that write figures, not sentences: the formats name their texts."""


def reword_everything(monkeypatch):
    """Make every function that words a result or a rule say something else, wherever it was imported to."""
    spoken = {*functions_of(say), *functions_of(words), *functions_of(workings)} - EXACT
    modules = [
        module for name, module in sys.modules.items() if name.split(".")[0] in ("contest", "judging", "reports")
    ]
    for module in modules:
        for name, value in list(vars(module).items()):
            if isinstance(value, FunctionType) and value in spoken:
                monkeypatch.setattr(module, name, lambda *args, **more: "another wording")


def functions_of(module: ModuleType) -> list[FunctionType]:
    """The functions that a module defines itself."""
    return [
        value
        for value in vars(module).values()
        if isinstance(value, FunctionType) and value.__module__ == module.__name__
    ]
