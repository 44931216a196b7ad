# The mains fail at a site with two tanks, seen by every kind of rule there is: one page.
every 30s  quay-lobby/supply            120 x60, 0 x660
every 30s  lobby/temperature            25.4 x110, 25.4..21.5 x120, 21.5 x490
every 30s  bar/temperature              25.0 x110, 25.0..20.5 x120, 20.5 x490
every 30s  lobby/return-a-power         55 x61, 0 x659                           # the meter at the panel has a battery …
every 30s  lobby/return-b-power         55 x61, 0 x659
every 30s  bar/return-power             38 x61, 0 x659
every 30s  lobby/heater-power           0 x60                                    # … the plugs have none
every 30s  lobby/skimmer-power          25 x60
every 30s  lobby/light-power            180 x60
every 30s  lobby/reservoir-level        300 x60
every 30s  bar/uv-power                 18 x60
at 34m     expect page   first opened about site-power-lost/mains
at 35m     acknowledge   site-power-lost/mains  by first
at  2h     expect alarm  lobby/return-pump-stopped/return-a  behind site-power-lost/mains
at  2h     expect alarm  bar/return-pump-stopped/return      behind site-power-lost/mains
at  2h     expect alarm  lobby/limit/temperature             behind site-power-lost/mains
at  2h     expect alarm  lobby/silent-point/reservoir-level  behind site-power-lost/mains
at  6h     expect no page
