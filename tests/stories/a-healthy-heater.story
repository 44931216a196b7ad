# A thermostat at work, with a warm afternoon over the setpoint while the heater is off: nothing rings.
every 30s  display-temperature  25.2..25.8 x20, 25.8..25.2 x20, 25.2..25.8 x20, 25.8..25.2 x20, 25.2..27.4 x160
every 30s  heater-1-power       295 x20, 0 x20, 295 x20, 0 x20, 0 x160
at  2h     expect alarm  heater-stuck-on/heater-1  normal
at  2h     expect no page
