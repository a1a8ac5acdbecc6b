"""Fields of choices: several rows at once, and a form's own fields by their kind."""

import re
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError

Kind = TypeVar("Kind", bound=forms.Field)

_KEY = re.compile(r"\d{1,18}", re.ASCII)


class RowsField(forms.ModelMultipleChoiceField):
    """Rows chosen by their keys; a key that no database holds is refused like any that is not on offer."""

    def _check_values(self, value: Any) -> Any:
        for key in value:
            if not _KEY.fullmatch(str(key)):
                raise ValidationError(
                    self.error_messages["invalid_pk_value"], code="invalid_pk_value", params={"pk": str(key)[:30]}
                )
        return super()._check_values(value)  # type: ignore[misc]  # Django's own, which its stubs leave out


def field_of(form: forms.BaseForm, name: str, kind: type[Kind]) -> Kind:
    """Return the field `name` of a form as the kind that its class declares. Raises TypeError for another kind."""
    field = form.fields[name]
    if not isinstance(field, kind):
        raise TypeError(f"The field {name} is a {type(field).__name__}, not a {kind.__name__}.")
    return field


def choice_field(form: forms.BaseForm, name: str) -> forms.ChoiceField:
    return field_of(form, name, forms.ChoiceField)


def row_field(form: forms.BaseForm, name: str) -> "forms.ModelChoiceField[Any]":
    return field_of(form, name, forms.ModelChoiceField)
