# The clock of a sensor runs two hours behind: the stamps are not used, so that a hot tank rings within minutes, and it is said when it began and when it is over.
every 30s  display-temperature  31.0 x60  late 2h
from 2h30m every 30s  display-temperature  25.4 x60
at 2h1m     expect no journal "behind"
at 2h4m     expect journal "The clock of clinic-hall/temperature is 2 h behind: its readings are stamped when they arrive, until it is set right"
at 2h5m     expect page    first opened about wrong-clock/clock
at 2h6m     acknowledge    wrong-clock/clock  by first
at  9m      expect page    first opened                                       # silence: nothing current has come
at 10m      acknowledge    silent-point/display-temperature  by first
at 2h8m     expect alarm   limit/display-temperature  unacknowledged
at 2h8m     expect page    first returned                                     # the silence is over
at 2h8m     expect page    first opened
at 2h9m     acknowledge    limit/display-temperature  by first
at 2h40m    expect journal "The clock of clinic-hall/temperature is right again"
at 2h31m    expect page    first returned about wrong-clock/clock
at 2h41m    expect page    first returned about limit/display-temperature
