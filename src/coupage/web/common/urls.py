"""Addresses of the common parts."""

from __future__ import annotations

from django.urls import path

from coupage.web.common import views

urlpatterns = [
    path("gallery/", views.gallery, name="gallery"),
    path("gallery/sheet/", views.gallery_sheet, name="gallery-sheet"),
]
