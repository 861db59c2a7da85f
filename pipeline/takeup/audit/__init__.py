"""Why an order stands, and what every rule says of a strand."""
