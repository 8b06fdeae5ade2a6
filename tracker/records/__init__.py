"""The only SQL. Whoever uses records writes the audit trail: it listens from here on."""

from tracker.records import audit as audit
