from django.urls import path

from coupage.web.people import views

app_name = "people"

urlpatterns = [
    path("", views.index, name="index"),
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("set-up/", views.set_up, name="set-up"),
    path("me/", views.me, name="me"),
    path("me/password/", views.password, name="password"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.change, name="change"),
    path("roastery/", views.settings, name="settings"),
]
