"""The ground floor of the web wing: the frame of every page and the parts pages are built from."""

from __future__ import annotations

from django.apps import AppConfig

__all__ = ["CommonConfig"]


class CommonConfig(AppConfig):
    name = "coupage.web.common"
    label = "common"
    verbose_name = "Common parts"
