from django.urls import path

from coupage.web.keeping import views

app_name = "keeping"

urlpatterns = [
    path("", views.index, name="index"),
    path("charts/<int:pk>/", views.chart, name="chart"),
    path("charts/<int:pk>/anew/", views.baseline, name="baseline"),
    path("losses/", views.expected, name="losses"),
    path("uniformity/", views.uniformity, name="uniformity"),
    path("ageing/", views.ageing, name="ageing"),
    path("ageing/<int:pk>/", views.ageing_batch, name="ageing-batch"),
    path("ageing/<int:pk>/plan/", views.plan_ageing, name="plan-ageing"),
    path("ageing/<int:pk>/end/", views.end_ageing, name="end-ageing"),
    path("ageing/<int:pk>/retain/", views.retain, name="retain"),
    path("retained/<int:pk>/used-up/", views.end_retained, name="end-retained"),
    path("learning/", views.learn, name="learning"),
    path("try/<int:pk>/", views.try_roast, name="try"),
]
