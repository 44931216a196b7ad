# A peak shorter than the on-delay, and a hand that stirs the water at the sensor, ring nobody.
every 30s  display-temperature  25.4 x10, 29.0 x3, 25.4 x10, 28.4 x3, 25.4 x10
at 17m     expect alarm  limit/display-temperature  normal
at 17m     expect no page
