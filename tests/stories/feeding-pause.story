# The return pump is off for a ten-minute feeding pause: nothing rings. Off for good: it does.
every 30s  return-pump-power  58 x40, 0 x20, 58 x40, 0 x80
every 30s  display-temperature  25.4 x180
at 45m     expect no page
at 1h4m    expect alarm  return-pump-stopped/return-pump  normal
at 1h6m    expect alarm  return-pump-stopped/return-pump  unacknowledged   # off since 50m; 15 min
at 1h6m    expect page   first opened
at 1h7m    acknowledge   return-pump-stopped/return-pump  by first
at 1h25m   expect no page
