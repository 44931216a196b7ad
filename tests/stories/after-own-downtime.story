# Tankbell itself was down for two hours: it says so once, does not ring for the silence it caused, and goes on.
every 30s  display-temperature  25.4 x600
at 30m     restart after 2h
at 2h30m   expect journal "not watching for 2 h"
at 2h30m   expect alarm   silent-point/display-temperature  normal
at 4h      expect alarm   silent-point/display-temperature  normal
at 4h      expect no page
