# Somebody feeds for twelve minutes with the pump off, and the thermometer shows cold for a while: nobody is rung, although each by itself was long enough.
every 30s  return-pump-power  55 x10, 0 x24, 55 x100
every 30s  display-temperature   25.4 x12, 22.8 x20, 25.4 x100
at 15m     expect alarm  limit/display-temperature  normal
at 60m     expect alarm  limit/display-temperature  normal
at 60m     expect no page
