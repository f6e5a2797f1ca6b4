"""Places without a network: towns, time zones and the normal weather, from tables kept in
`clients/data`."""
