from django.urls import path

from reports.views import drawcheck, names, results, sheets

app_name = "reports"
urlpatterns = [
    path("c/<slug:slug>/names/", names.names, name="names"),
    path("c/<slug:slug>/names/publish/", names.publish_result, name="publish"),
    path("c/<slug:slug>/sheets/", names.sheet_links, name="sheet_links"),
    path("c/<slug:slug>/sheets/slips/", names.sheet_slips, name="sheet_slips"),
    path("c/<slug:slug>/sheets/slips/<int:number>/", names.sheet_slips, name="sheet_slip"),
    path("r/<slug:slug>/", results.results, name="results"),
    path("r/<slug:slug>/revision/<int:revision>/", results.results, name="revision"),
    path("r/<slug:slug>/table/", results.results_table, name="results_table"),
    path("r/<slug:slug>/results.csv", results.results_csv, name="results_csv"),
    path("r/<slug:slug>/results.xlsx", results.results_xlsx, name="results_xlsx"),
    path("r/<slug:slug>/revision/<int:revision>/<int:number>/", results.result_working, name="overall_working"),
    path(
        "r/<slug:slug>/revision/<int:revision>/<slug:key>/<int:number>/",
        results.result_working,
        name="result_working",
    ),
    path("r/<slug:slug>/package.zip", drawcheck.package, name="package"),
    path("r/<slug:slug>/revision/<int:revision>/package.zip", drawcheck.package, name="revision_package"),
    path("r/<slug:slug>/draw/", drawcheck.draw_check, name="draw_check"),
    path("r/<slug:slug>/draw/<str:name>", drawcheck.draw_file, name="draw_file"),
    path("r/<slug:slug>/sheet/<uuid:key>/", sheets.sheet, name="sheet"),
    path("r/<slug:slug>/sheet/<uuid:key>/claim/", sheets.claim, name="claim"),
    path("teams/", sheets.teams, name="teams"),
    path("teams/<uuid:team>/", sheets.team, name="team"),
]
