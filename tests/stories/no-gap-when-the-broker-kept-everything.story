# Tankbell was down for a hundred seconds; what was measured meanwhile was kept and comes late: nothing is missing, and nothing is said.
every 30s  display-temperature  25.4 x60
from 30m every 30s  display-temperature  25.4 x3 late 1m50s
from 31m30s every 30s  display-temperature  25.4 x60
at 30m      restart after 1m40s
at 30m      expect journal "not watching for 1 min 40 s"
at 45m      expect no journal "missing"
at 45m      expect no page
