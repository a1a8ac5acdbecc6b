from django.apps import AppConfig


class JudgingConfig(AppConfig):
    name = "judging"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from contest import appendonly
        from judging import steps

        # Which reading stands, and by whom it is, may change; what was read may not.
        appendonly.keep(appendonly.Guard("judging_reading", ("id", "card_id", "kind", "client_key", "reason", "at")))
        appendonly.keep(appendonly.Guard("judging_mark", ("id", "reading_id", "criterion", "value")))
        appendonly.keep(appendonly.Guard("judging_resolution", ("id", "reading_id", "chosen", "reason", "at")))
        steps.register()
