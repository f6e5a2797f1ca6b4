"""What comes in: posts of gateways and mail services, and the mail that mail servers send back."""
