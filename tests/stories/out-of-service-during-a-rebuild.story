# A tank half-plumbed overnight: its pump alarm is taken out of service, returned by hand, and only then rings.
every 30s  return-pump-power  58 x10, 0 x200
every 30s  display-temperature  25.4 x210
at  1m     out of service  return-pump-stopped/return-pump  by first
at  1h     expect alarm    return-pump-stopped/return-pump  out-of-service
at  1h     expect no page
at  1h     return to service  return-pump-stopped/return-pump  by first
at 1h1m    expect alarm    return-pump-stopped/return-pump  unacknowledged
at 1h1m    expect page     first opened
at 1h2m    acknowledge     return-pump-stopped/return-pump  by first
