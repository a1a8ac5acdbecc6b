from django import forms
from django.contrib.auth.forms import BaseUserCreationForm

from contest.models import Account


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
