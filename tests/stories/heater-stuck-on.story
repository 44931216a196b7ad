# A welded thermostat: the heater draws on while the water is well over its setpoint, long before the high limit is reached.
every 30s  display-temperature  25.5..27.9 x600
every 30s  heater-1-power       295 x600
at 30m     expect alarm  heater-stuck-on/heater-1  normal
at  4h     expect alarm  heater-stuck-on/heater-1  unacknowledged
at  4h     expect alarm  limit/display-temperature  normal
at  4h     expect page   first opened
at  4h     expect page   second escalated
at  4h     acknowledge   heater-stuck-on/heater-1  by second
