from django.urls import path

from coupage.web.today import views

urlpatterns = [path("", views.today, name="today")]
