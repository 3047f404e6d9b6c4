"""Notification as it happens: what `alerts.notify` decides goes out by mail, webhook, MQTT and other services."""
