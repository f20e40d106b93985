from django.urls import path

from coupage.web.live.views import joining, sheet

app_name = "live"

urlpatterns = [
    path("join/", joining.enter, name="enter"),
    path("join/<str:letters>/", joining.join, name="join"),
    path("seat/<str:token>/", sheet.seat, name="seat"),
]
