"""The clients app, and the rows whose changes are kept in the audit trail."""

from django.apps import AppConfig


class ClientsConfig(AppConfig):
    name = "clients"

    def ready(self) -> None:
        from auditlog.registry import auditlog
        from django.forms import Field

        from clients import models
        from clients.messaging import models as messaging_models
        from clients.messaging.actions import staff_notices  # noqa: F401 - its receiver

        # Said beside the field's label, on every form: what to do, not a rule of the program.
        Field.default_error_messages = Field.default_error_messages | {
            "required": "Please fill this in."
        }

        auditlog.register(
            models.Business,
            exclude_fields=["suppression_key", "updated_at", "logo", "logo_width", "logo_height"],
        )
        auditlog.register(
            models.User,
            mask_fields=["password"],
            # the library's own mask leaves half of the hash to be read
            mask_callable="clients.audit_trail.mask_value",
            exclude_fields=["last_login", "passkey_handle", "session_round"],
        )
        auditlog.register(models.Authenticator, exclude_fields=["key_sealed", "last_step"])
        auditlog.register(
            models.Passkey,
            exclude_fields=["credential_id", "public_key", "sign_count", "last_used_at"],
        )
        auditlog.register(
            messaging_models.TextGateway, exclude_fields=["auth_secret", "hook_hash", "hook_key"]
        )
        auditlog.register(messaging_models.MailServer, exclude_fields=["password_sealed"])
        people = (
            models.Client,
            models.ContactPoint,
            models.Property,
            models.Deck,
            models.LocalNormals,
        )
        for model in (*people, messaging_models.MessageText, messaging_models.LawRule):
            auditlog.register(model)
        self.connect_mail_service()

    def connect_mail_service(self) -> None:
        """django-anymail tells what it has read by a signal and in no other way."""
        from clients.messaging.incoming import mail_service

        if mail_service.uses_mail_service():
            from clients.messaging.views.mail_service import receive_mail_event

            mail_service.connect_tracking_signal(receive_mail_event)
