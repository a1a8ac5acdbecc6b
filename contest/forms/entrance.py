from django import forms
from django.contrib.auth.forms import BaseUserCreationForm
from django.core.exceptions import ValidationError

from contest.models import Account

#: Words of this place, with which somebody who knows it would begin to guess.
KNOWN_WORDS = ("fairbox", "barbecue", "barbeque", "bbq", "smoker", "brisket", "ribs", "chicken", "pork", "contest",
               "cookoff", "organiser", "organizer", "judge", "tally", "password")  # fmt: skip


class NoKnownWords:
    """A password validator: without the words of this place at least six different signs must be left."""

    def validate(self, password: str, user: object = None) -> None:
        rest = password.casefold()
        for word in KNOWN_WORDS:
            rest = rest.replace(word, "")
        if rest != password.casefold() and len(set(rest)) < 6:
            raise ValidationError("Little is left of this password beside a word that anyone here would try first.")

    def get_help_text(self) -> str:
        return "It may not be little more than a word of this place, like “barbecue”."


class SignInForm(forms.Form):
    username = forms.CharField(label="Name", max_length=150, widget=forms.TextInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(label="Password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}))


class PassForm(forms.Form):
    word = forms.CharField(
        label="Pass word",
        max_length=60,
        help_text="From your slip or the card on the table. Capitals, spaces and hyphens do not matter.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )


class FirstAccountForm(BaseUserCreationForm):
    """The first account of an installation: an organiser who may also tend the installation itself."""

    class Meta:
        model = Account
        fields = ["username"]
        labels = {"username": "Your name for signing in"}

    def save(self, commit: bool = True) -> Account:
        account = super().save(commit=False)
        account.is_staff = account.is_superuser = True
        if commit:
            account.save()
        return account
