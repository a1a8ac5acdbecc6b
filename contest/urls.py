from django.urls import path

from contest.views import entrance

app_name = "contest"
urlpatterns = [
    path("", entrance.home, name="home"),
    path("start/", entrance.first_account, name="first_account"),
    path("sign-in/", entrance.sign_in, name="sign_in"),
    path("sign-out/", entrance.sign_out, name="sign_out"),
    path("in/", entrance.pass_in, name="pass_in"),
    path("c/<slug:slug>/", entrance.day, name="day"),
]
