"""Forms of the helpers page."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from contest.models import Account, ContestRole

ROLES = (
    ("organiser", "organiser"),
    ("announcer", "announcer"),
    ("head_judge", "head judge"),
    ("tally", "tally clerk"),
    ("desk", "turn-in desk"),
)


class _Parts(forms.Form):
    roles = forms.MultipleChoiceField(
        label="Roles",
        choices=ROLES,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one role."},
    )

    def parts(self) -> set[str]:
        return set(self.cleaned_data["roles"])


class HelperForm(_Parts):
    """A helper by name alone; `field_order` puts the name first."""

    name = forms.CharField(label="Name", max_length=150, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    field_order = ["name", "roles"]


class KnownAccountForm(_Parts):
    username = forms.CharField(label="Name for signing in", max_length=150)
    field_order = ["username", "roles"]

    def clean_username(self) -> Account:
        found = Account.objects.filter(username__iexact=self.cleaned_data["username"].strip(), is_active=True).first()
        if found is None:
            raise ValidationError("Nobody signs in with this name here. Check it, or make a helper by name instead.")
        return found


class RolesForm(_Parts):
    """The roles of one helper; none left takes the helper off the list."""

    def __init__(self, data: Any = None, *, row: ContestRole, **options: Any) -> None:
        self.row = row
        initial = {"roles": [name for name, _ in ROLES if name in row.held]}
        super().__init__(data, initial=initial, prefix=f"account-{row.account_id}", **options)
        self.fields["roles"].required = False
