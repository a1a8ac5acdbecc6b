from django.apps import AppConfig


class JudgingConfig(AppConfig):
    name = "judging"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from judging import day_steps

        day_steps.register()
