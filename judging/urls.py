from django.urls import path

from judging.views import captain, keying, phones, rulings, seat, sheets, tally

app_name = "judging"
urlpatterns = [
    path("api/cards/", phones.hand_in, name="hand_in"),
    path("api/seat/", phones.seat_news, name="seat_news"),
    path("c/<slug:slug>/seat/", seat.seat, name="seat"),
    path("c/<slug:slug>/seat/worker.js", seat.worker, name="seat_worker"),
    path("c/<slug:slug>/marks/", sheets.marks, name="marks"),
    path("c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/", sheets.sheet, name="sheet"),
    path("c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/written/", keying.written, name="written"),
    path("c/<slug:slug>/marks/<slug:category>/<int:table>/<str:seat>/again/", keying.again, name="again"),
    path("c/<slug:slug>/differences/", keying.differences_page, name="differences"),
    path("c/<slug:slug>/table/<int:table>/", captain.captain, name="captain"),
    path("c/<slug:slug>/table/<int:table>/news/", captain.news, name="news"),
    path("c/<slug:slug>/rulings/", rulings.rulings, name="rulings"),
    path("c/<slug:slug>/rulings/calls/", rulings.calls, name="calls"),
    path("c/<slug:slug>/tally/", tally.tally, name="tally"),
    path("c/<slug:slug>/tally/doubts/", tally.doubts, name="doubts"),
    path("c/<slug:slug>/tally/lock/", tally.lock, name="lock"),
    path("c/<slug:slug>/tally/unlock/", tally.unlock, name="unlock"),
    path("c/<slug:slug>/tally/close/", tally.close, name="close"),
    path("c/<slug:slug>/tally/sign/<int:revision>/", tally.sign, name="sign"),
    path("c/<slug:slug>/tally/revise/", tally.revise_tally, name="revise"),
    path("c/<slug:slug>/tally/box/<str:number>/", tally.working, name="working"),
]
