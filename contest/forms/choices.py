"""A field for several rows at once."""

import re
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

_KEY = re.compile(r"\d{1,18}", re.ASCII)


class RowsField(forms.ModelMultipleChoiceField):
    """Rows chosen by their keys; a key that no database holds is refused like any that is not on offer."""

    def _check_values(self, value: Any) -> Any:
        for key in value:
            if not _KEY.fullmatch(str(key)):
                raise ValidationError(
                    self.error_messages["invalid_pk_value"], code="invalid_pk_value", params={"pk": str(key)[:30]}
                )
        return super()._check_values(value)
