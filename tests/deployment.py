"""The product's settings as CI checks them for deployment (.ci/run)."""

from restorer.settings import *  # noqa: F403

# Zones a year old warn whoever runs a server; they must not make an unchanged tree fail.
SILENCED_SYSTEM_CHECKS = ["restorer.W012"]
