/**
 * Which rule kinds name a fault rightly, the most telling first: any one of them says what is wrong, so that whoever drives there brings the right part.
 * Plain strings, as the simulator knows no rule: what is not among the product's kinds simply never answers.
 */
export const namedBy: Readonly<Record<string, readonly string[]>> = {
  // One that has lost most of it does not cool.
  'chiller-losing-capacity': ['chiller-losing-capacity', 'chiller-not-cooling'],
  'chiller-not-cooling': ['chiller-not-cooling'],
  'chiller-short-cycling': ['chiller-short-cycling'],
  'circuit-lost': ['circuit-lost'],
  'floor-wet': ['leak-wet'],
  'frozen-value': ['frozen-value'],
  'gateway-silent': ['silent-gateway'],
  // The heater heats past the setpoint that is written down for it: until the chiller has brought the water back, that is what there is to see, and it names the piece whose dial is wrong.
  'heater-chiller-fighting': ['heater-chiller-fighting', 'heater-stuck-on'],
  'heater-failed': ['heater-not-heating'],
  'heater-stuck-on': ['heater-stuck-on'],
  'heater-weak': ['heater-weak'],
  'leak': ['leak', 'top-off-consumption', 'sump-low'],
  'lid-left-off': ['top-off-consumption'],
  'mains-lost': ['site-power-lost'],
  'pump-clogging': ['pump-draw-shifted'],
  'pump-dry': ['pump-draw-shifted'],
  'pump-restarting': ['pump-restarting'],
  'pump-stopped': ['return-pump-stopped'],
  'reservoir-runs-empty': ['top-off-empty', 'top-off-low'],
  'room-cold': ['heater-at-limit'],
  'room-hot': ['limit', 'temperature-forecast', 'temperature-drift'],
  'salinity-step': ['salinity-step'],
  'sensor-silent': ['silent-point'],
  'sensors-disagree': ['sensors-disagree'],
  'skimmer-overflow': ['leak', 'salinity-drift', 'top-off-consumption'],
  'spikes': ['spikes'],
  'sump-overfilled': ['sump-high'],
  'thermometer-drifting': ['sensors-disagree'],
  // A dial that is turned up and contacts that are welded look the same until the water is as warm as the dial wants it.
  'thermostat-turned-up': ['heater-stuck-on', 'temperature-drift', 'temperature-forecast', 'limit'],
  'top-off-failed': ['top-off-failed', 'sump-low'],
  'top-off-stuck-on': ['top-off-stuck-on'],
  'voltage-sag': ['voltage-out-of-range'],
  'wrong-clock': ['wrong-clock'],
};
