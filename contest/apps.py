from django.apps import AppConfig


class ContestConfig(AppConfig):
    name = "contest"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from contest import day_steps

        day_steps.register()
