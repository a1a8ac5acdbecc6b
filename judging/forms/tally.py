from typing import Any

from django import forms


class CloseForm(forms.Form):
    sure = forms.BooleanField(
        label="The marks are complete: close the tally",
        error_messages={"required": "Tick this first: a closed tally does not open again, it is only revised."},
    )


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label="Reason",
        max_length=300,
        help_text="Goes into the log.",
        error_messages={"required": "Say why."},
    )


class UnlockForm(ReasonForm):
    prefix = "unlock"


class ReviseForm(ReasonForm):
    prefix = "revise"

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["reason"].help_text = "Goes into the log and is printed with the result."
