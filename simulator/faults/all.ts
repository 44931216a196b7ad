/** Every kind of fault; a test holds that none of the files beside this is missing. */
import type { FaultKind } from './fault.ts';
import chillerLosingCapacity from './chiller-losing-capacity.ts';
import chillerNotCooling from './chiller-not-cooling.ts';
import chillerShortCycling from './chiller-short-cycling.ts';
import circuitLost from './circuit-lost.ts';
import floorWet from './floor-wet.ts';
import frozenValue from './frozen-value.ts';
import gatewaySilent from './gateway-silent.ts';
import heaterChillerFighting from './heater-chiller-fighting.ts';
import heaterFailed from './heater-failed.ts';
import heaterStuckOn from './heater-stuck-on.ts';
import heaterWeak from './heater-weak.ts';
import leak from './leak.ts';
import lidLeftOff from './lid-left-off.ts';
import mainsLost from './mains-lost.ts';
import pumpClogging from './pump-clogging.ts';
import pumpDry from './pump-dry.ts';
import pumpRestarting from './pump-restarting.ts';
import pumpStopped from './pump-stopped.ts';
import reservoirRunsEmpty from './reservoir-runs-empty.ts';
import roomCold from './room-cold.ts';
import roomHot from './room-hot.ts';
import salinityStep from './salinity-step.ts';
import sensorSilent from './sensor-silent.ts';
import sensorsDisagree from './sensors-disagree.ts';
import skimmerOverflow from './skimmer-overflow.ts';
import spikes from './spikes.ts';
import sumpOverfilled from './sump-overfilled.ts';
import thermometerDrifting from './thermometer-drifting.ts';
import thermostatTurnedUp from './thermostat-turned-up.ts';
import topOffFailed from './top-off-failed.ts';
import topOffStuckOn from './top-off-stuck-on.ts';
import voltageSag from './voltage-sag.ts';
import wrongClock from './wrong-clock.ts';

/** In order of name. */
export const faultKinds: readonly FaultKind[] = [
  chillerLosingCapacity,
  chillerNotCooling,
  chillerShortCycling,
  circuitLost,
  floorWet,
  frozenValue,
  gatewaySilent,
  heaterChillerFighting,
  heaterFailed,
  heaterStuckOn,
  heaterWeak,
  leak,
  lidLeftOff,
  mainsLost,
  pumpClogging,
  pumpDry,
  pumpRestarting,
  pumpStopped,
  reservoirRunsEmpty,
  roomCold,
  roomHot,
  salinityStep,
  sensorSilent,
  sensorsDisagree,
  skimmerOverflow,
  spikes,
  sumpOverfilled,
  thermometerDrifting,
  thermostatTurnedUp,
  topOffFailed,
  topOffStuckOn,
  voltageSag,
  wrongClock,
];

/** @throws Error naming what there is. */
export function faultKind(name: string): FaultKind {
  const kind = faultKinds.find((one) => one.name === name);
  if (kind === undefined) throw new Error(`no fault "${name}"; there are: ${faultKinds.map((one) => one.name).join(', ')}`);
  return kind;
}
