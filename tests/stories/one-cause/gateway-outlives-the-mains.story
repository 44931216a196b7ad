# The mains fail and come back, but the gateway of the plugs does not: the second page is for the gateway, not for the points behind it.
every 30s  quay-lobby/supply            120 x10, 0 x120, 120 x270
every 30s  lobby/temperature            25.4 x400
every 30s  bar/temperature              25.0 x400
every 30s  lobby/return-a-power         55 x11, 0 x120, 55 x269
every 30s  lobby/return-b-power         55 x11, 0 x120, 55 x269
every 30s  bar/return-power             38 x11, 0 x120, 38 x269
every 30s  lobby/heater-power           0 x10
every 30s  lobby/skimmer-power          25 x10
every 30s  lobby/light-power            180 x10
every 30s  lobby/reservoir-level        300 x10
every 30s  bar/uv-power                 18 x10, - x120, 18 x270
at  6m     expect page   first opened about lobby/site-power-lost/supply
at  7m     acknowledge   lobby/site-power-lost/supply  by first
at 12m     expect alarm  lobby/silent-point/heater-power     behind lobby/site-power-lost/supply
at 66m     expect page   first returned about lobby/site-power-lost/supply            # 0 V until 1h05m
at 66m     expect alarm  lobby/silent-point/heater-power     behind lobby/silent-gateway/gateway-plugs
at 66m     expect alarm  lobby/silent-gateway/gateway-plugs  suppressed                   # the grace
at 71m     expect page   first surfaced about lobby/silent-gateway/gateway-plugs
at 71m     expect alarm  lobby/silent-point/heater-power     behind lobby/silent-gateway/gateway-plugs
at 71m     expect alarm  bar/silent-gateway/gateway-plugs    normal
at 71m     expect alarm  lobby/return-pump-stopped/return-a  normal
at 72m     acknowledge   lobby/silent-gateway/gateway-plugs  by first
at  3h     expect no page
