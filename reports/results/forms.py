from django import forms
from django.contrib.auth.forms import BaseUserCreationForm

from contest.models import Account


class PublishForm(forms.Form):
    sure = forms.BooleanField(
        label="Everybody may see names, places and workings now",
        error_messages={"required": "Tick this first: what is published cannot be taken back, only revised."},
    )


class CookAccountForm(BaseUserCreationForm):
    """A cook's account, made where the sheet lies."""

    class Meta:
        model = Account
        fields = ["username"]
        labels = {"username": "Your name for signing in"}
