from django.urls import path

from coupage.web.roastdays import views

app_name = "roastdays"

urlpatterns = [
    path("", views.index, name="index"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.day, name="day"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/again/", views.again, name="again"),
    path("<int:pk>/stop/", views.stop, name="stop"),
    path("<int:pk>/batches/add/", views.add_batch, name="add-batch"),
    path("<int:pk>/batches/<int:batch>/pin/", views.pin, name="pin"),
    path("<int:pk>/batches/<int:batch>/unpin/", views.unpin, name="unpin"),
    path("<int:pk>/send/", views.send, name="send"),
    path("<int:pk>/take-back/", views.take_back, name="take-back"),
    path("<int:pk>/mend/", views.mend, name="mend"),
    path("<int:pk>/close/", views.close, name="close"),
    path("<int:pk>/sheet/<int:machine>/", views.sheet, name="sheet"),
]
