"""The invented company, and who signs in at its office. Printed at every start: nothing here is secret."""

COMPANY = "Alder Hollow Air (invented)"
PERSON = "office"
PASSWORD = "alder-hollow-demo"  # noqa: S105
