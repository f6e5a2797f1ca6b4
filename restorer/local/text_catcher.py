"""The text message gateway of the demo:
a thread of this process that sends nothing and reports to the demo's hooks."""

import threading

from clients.messaging.actions import gateway as actions
from clients.messaging.channels.fake_gateway import FakeGateway, FakeGatewayServer
from clients.messaging.models import TextGateway

GATEWAY_ROW = {
    "name": "The demo's own gateway",
    "is_on": True,
    "sender": "+19025550100",
    "auth": "none",
    "look_up_url": "",
    "template": {"to": "{to}", "from": "{from}", "text": "{text}", "reference": "{reference}"},
    "refusals": {"bad_number": "for_good", "busy": "for_now", "opted_out": "opted_out"},
    "statuses": {
        "sent": "accepted",
        "delivered": "delivered",
        "failed": "failed",
        "unknown": "none",
    },
}


def start_text_catcher() -> FakeGatewayServer:
    """Takes what comes on a free port, until `server_close`."""
    server = FakeGatewayServer(0, FakeGateway())
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


def use_text_catcher(server: FakeGatewayServer, base_url: str) -> None:
    """Whatever the book says: nothing of the demo may reach a real gateway.
    What it reports comes to `base_url`."""
    url = f"http://127.0.0.1:{server.server_port}/messages"
    row = actions.save_gateway(
        gateway=TextGateway(**GATEWAY_ROW | {"url": url, "look_up_url": url + "/{reference}"})
    )
    secret = actions.create_hook_secret(gateway=row)
    server.gateway.hooks = f"{base_url}/hooks/text/{secret}" if base_url else ""
