"""What people type about messages: gateways, texts, the sending domain."""
