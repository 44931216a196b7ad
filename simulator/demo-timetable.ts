/**
 * What happens in the demo fleet (`fleet.yaml`, whose ids are used here): eight finished incidents in the month before, one that is under way
 * when the demo goes live, and then a round of half an hour again and again, so that something always rings and always ends.
 */
import { DAY, HOUR, MINUTE, SECOND } from '../src/domain/duration.ts';
import { chillerShortCycling } from './faults/chiller-short-cycling.ts';
import type { Fault } from './faults/fault.ts';
import { gatewaySilent } from './faults/gateway-silent.ts';
import { heaterFailed } from './faults/heater-failed.ts';
import { heaterStuckOn } from './faults/heater-stuck-on.ts';
import { mainsLost } from './faults/mains-lost.ts';
import { pumpStopped } from './faults/pump-stopped.ts';
import { reservoirRunsEmpty } from './faults/reservoir-runs-empty.ts';
import { roomHot } from './faults/room-hot.ts';
import { thermometerDrifting } from './faults/thermometer-drifting.ts';
import { listed, looped, type Occurrence, type Timetable, together } from './timetable.ts';
import { nextLocalHour } from './world/local-time.ts';

export const ROUND_MS = 30 * MINUTE;

/** @param liveMs when the demo goes live. Kept by whoever continues a run, so that the past stays what it was. */
export function demoTimetable(liveMs: number): Timetable {
  return together(listed(pastIncidents(liveMs)), listed(underWay(liveMs)), looped(liveMs, ROUND_MS, round));
}

const during = (fault: Fault, beginMs: number, lastsMs: number): Occurrence => ({ fault, beginMs, endMs: beginMs + lastsMs });
const from = <Choice>(choices: readonly Choice[], round: number): Choice[] => choices.slice(round % choices.length).slice(0, 1);

const FRIDAY = 5;

function pastIncidents(liveMs: number): readonly Occurrence[] {
  const afternoon = nextLocalHour('Europe/Dublin', liveMs - 24 * DAY, 13);
  const friday = nextLocalHour('America/Chicago', liveMs - 21 * DAY, 20, FRIDAY);
  const creeping = nextLocalHour('America/Chicago', liveMs - 19 * DAY, 9);
  const hotWeek = nextLocalHour('America/Denver', liveMs - 13 * DAY, 10);
  const cold = nextLocalHour('America/New_York', liveMs - 10 * DAY, 19);
  const lunch = nextLocalHour('America/New_York', liveMs - 6 * DAY, 12);
  const night = nextLocalHour('Europe/Dublin', liveMs - 4 * DAY, 2);
  return [
    // Found at a visit at the end of the afternoon.
    during(heaterStuckOn({ heaterId: 'pinwheel-planted/heater' }), afternoon, 4 * HOUR + 20 * MINUTE),
    // Dry from Friday night until somebody comes on Monday morning.
    during(reservoirRunsEmpty({ reservoirId: 'marigold-marine/reservoir', leftLitres: 1 }), friday, 2 * DAY + 13 * HOUR),
    // Water got into a probe, and it creeps up until the upper limit rings (15 °C in `fleet.yaml`): the tank was well, and a new probe was put in.
    during(thermometerDrifting({ pointId: 'marigold-cold/display-temperature', perDay: 3 }), creeping, 26 * HOUR),
    // The air conditioning gave up, the chiller ran and ran, and its relay began to chatter.
    during(roomHot({ siteId: 'quill-lobby', byK: 7 }), hotWeek, 6 * DAY),
    during(chillerShortCycling({ chillerId: 'quill-reef/chiller', shortestS: 40, longestS: 110 }), hotWeek + 30 * HOUR, 4 * DAY),
    // The element broke at the beginning of an evening; below the lower limit (23.5 °C) in the night, a new heater in the morning.
    during(heaterFailed({ heaterId: 'bar-fresh/heater' }), cold, 13 * HOUR),
    during(pumpStopped({ pumpId: 'atrium-marine/return-pump' }), lunch + 20 * MINUTE, 40 * MINUTE),
    during(gatewaySilent({ siteId: 'pinwheel-office' }), night + 10 * MINUTE, 3 * HOUR),
  ];
}

/** Welded long enough before that the water reaches its upper limit (26.2 °C in `fleet.yaml`) by the time the demo goes live, or minutes later. */
const WELDED_BEFORE_MS = 150 * MINUTE;

function underWay(liveMs: number): readonly Occurrence[] {
  return [during(heaterStuckOn({ heaterId: 'bar-fresh/heater' }), liveMs - WELDED_BEFORE_MS, WELDED_BEFORE_MS + 12 * MINUTE)];
}

function round(startMs: number, count: number): readonly Occurrence[] {
  const pump = from(['quill-reef/return-pump', 'pinwheel-reef/return-pump', 'atrium-marine/return-pump', 'marigold-marine/return-pump'], count);
  const reservoir = from(['marigold-marine/reservoir', 'quill-reef/reservoir', 'atrium-marine/reservoir', 'pinwheel-reef/reservoir'], count);
  // Water warms and cools slowly: every other round, for more than an hour, and hours of rest for each tank.
  const heater = count % 2 === 1 ? [] : from(['pinwheel-reef/heater', 'marigold-marine/heater', 'pinwheel-planted/heater', 'bar-fresh/heater'], count / 2);
  // Starts are counted over an hour: rarer, so that the alarm can end before the next.
  const chiller = count % 4 === 0 ? ['marigold-cold/chiller'] : [];
  const gateway = from(['pinwheel-office', 'quill-lobby', 'marigold-dining'], count);
  const mains = from(['northstep-atrium', 'pinwheel-office', 'quill-lobby'], count);
  return [
    ...chiller.map((chillerId) => during(chillerShortCycling({ chillerId, shortestS: 20, longestS: 60 }), startMs, 14 * MINUTE)),
    ...pump.map((pumpId) => during(pumpStopped({ pumpId }), startMs + 30 * SECOND, 4 * MINUTE)),
    ...reservoir.map((reservoirId) => during(reservoirRunsEmpty({ reservoirId, leftLitres: 0.2 }), startMs + MINUTE, 12 * MINUTE)),
    ...heater.map((heaterId) => during(heaterStuckOn({ heaterId }), startMs + 5 * MINUTE, 85 * MINUTE)),
    ...gateway.map((siteId) => during(gatewaySilent({ siteId }), startMs + 15 * MINUTE, 7 * MINUTE)),
    ...mains.map((siteId) => during(mainsLost({ siteId }), startMs + 24 * MINUTE, 5 * MINUTE)),
  ];
}
