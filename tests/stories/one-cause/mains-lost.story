# The mains fail at a site with two tanks: ten alarms follow, and one page.
every 30s  quay-lobby/supply            120 x10, 0 x470
every 30s  lobby/temperature            25.4 x60, 25.4..21.5 x120, 21.5 x300     # below 23 from 1h07m on
every 30s  bar/temperature              25.0 x60, 25.0..20.5 x120, 20.5 x300
every 30s  lobby/return-a-power         55 x11, 0 x469                           # the meter at the panel has a battery …
every 30s  lobby/return-b-power         55 x11, 0 x469
every 30s  bar/return-power             38 x11, 0 x469
every 30s  lobby/heater-power           0 x10                                    # … the plugs have none
every 30s  lobby/skimmer-power          25 x10
every 30s  lobby/light-power            180 x10
every 30s  lobby/reservoir-level        300 x10
every 30s  bar/uv-power                 18 x10
at  6m     expect page   first opened about lobby/site-power-lost/supply
at  7m     acknowledge   lobby/site-power-lost/supply  by first
at 12m     expect alarm  lobby/silent-point/heater-power     behind lobby/site-power-lost/supply
at 12m     expect alarm  lobby/silent-point/skimmer-power    behind lobby/site-power-lost/supply
at 12m     expect alarm  lobby/silent-point/light-power      behind lobby/site-power-lost/supply
at 12m     expect alarm  lobby/silent-point/reservoir-level  behind lobby/site-power-lost/supply
at 12m     expect alarm  bar/silent-point/uv-power           behind lobby/site-power-lost/supply
at 12m     expect alarm  lobby/silent-gateway/gateway-plugs  behind lobby/site-power-lost/supply
at 12m     expect alarm  bar/silent-gateway/gateway-plugs    behind lobby/site-power-lost/supply
at  1h30m  expect alarm  lobby/return-pump-stopped/return-a  behind lobby/site-power-lost/supply
at  1h30m  expect alarm  lobby/return-pump-stopped/return-b  behind lobby/site-power-lost/supply
at  1h30m  expect alarm  bar/return-pump-stopped/return      behind lobby/site-power-lost/supply
at  2h     expect alarm  lobby/limit/temperature             behind lobby/site-power-lost/supply
at  2h     expect alarm  bar/limit/temperature               behind lobby/site-power-lost/supply
at  4h     expect no page
