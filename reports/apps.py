from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from contest import appendonly
        from reports import steps

        appendonly.keep(appendonly.Guard("reports_answer", ("id", "seat_id", "category_id", "box_id", "at")))
        steps.register()
