/** Calibrating a point: the effect on the present value first, and only then saved. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import type { Point } from '../../domain/fleet.ts';
import { calibrate } from '../../ingest/calibration.ts';
import { calibrationForm, calibrationSave } from '../calibration-form.ts';
import { type WebContext, byOf, sendHtml, viewerOf } from '../context.ts';
import { sentenceOf } from '../issues.ts';
import { type CalibrateFacts, calibratePage } from '../pages/calibrate.tsx';
import { WebError } from '../web-error.ts';
import { words } from '../words.ts';
import { localInstant } from './journal.ts';

type Params = { Params: { owner: string; point: string } };
const w = words.calibration;
const nothing = { typed: {}, problem: null, saved: false, effect: null } as const;

export function calibrateRoutes(app: FastifyInstance, context: WebContext): void {
  app.get<Params>('/points/:owner/:point/calibration', async (request, reply) => {
    const { saved } = z.object({ saved: z.string().optional() }).parse(request.query);
    return show(request, reply, pointOf(request.params), 200, { ...nothing, saved: saved === 'yes' });
  });

  app.post<Params>('/points/:owner/:point/calibration', async (request, reply) => {
    const point = pointOf(request.params);
    const nowMs = context.clock.now();
    const given = z.record(z.string(), z.string().max(1000)).catch({}).parse(request.body);
    if (given['action'] === 'save') {
      const save = calibrationSave.safeParse(given);
      if (!save.success) return show(request, reply, point, 400, { ...nothing, typed: given, problem: sentenceOf(save.error, 'words only') });
      const { slope, offset, fromMs, why } = save.data;
      if (fromMs > nowMs) return show(request, reply, point, 400, { ...nothing, typed: given, problem: w.future });
      await context.desk.calibrate({ pointId: point.id, fromMs, slope, offset, why, by: byOf(context, request), enteredMs: nowMs });
      return reply.redirect(`/points/${request.params.owner}/${request.params.point}/calibration?saved=yes`, 303);
    }
    const form = calibrationForm.safeParse(given);
    if (!form.success) return show(request, reply, point, 400, { ...nothing, typed: given, problem: sentenceOf(form.error, 'words only') });
    const { line, from, why } = form.data;
    const fromMs = from === '' ? nowMs : localInstant(from, zoneOf(point));
    if (fromMs === null || fromMs > nowMs) return show(request, reply, point, 400, { ...nothing, typed: given, problem: fromMs === null ? w.badFrom : w.future });
    const raw = await rawOf(point);
    return show(request, reply, point, 200, { ...nothing, typed: given, effect: { line, fromMs, why, value: raw === null ? null : calibrate([{ ...line, fromMs: 0 }], raw.atMs, raw.value) } });
  });

  function pointOf({ owner, point: id }: Params['Params']): Point {
    const point = context.fleet().points.find((one) => one.id === `${owner}/${id}`);
    if (point === undefined || point.kind === 'switch') throw new WebError(404, point === undefined ? words.error.noPoint : w.noSwitch);
    return point;
  }

  const zoneOf = (point: Point): string => context.fleet().sites.find(({ id }) => id === point.siteId)?.timeZone ?? 'UTC';

  async function rawOf(point: Point): Promise<CalibrateFacts['raw']> {
    const series = await context.rawHistory.seriesOf(point.id);
    return series === null ? null : context.rawHistory.latest(series);
  }

  async function show(request: FastifyRequest, reply: FastifyReply, point: Point, status: number, more: Pick<CalibrateFacts, 'typed' | 'problem' | 'saved' | 'effect'>): Promise<FastifyReply> {
    const { tanks, sites } = context.fleet();
    const calibrations = context.engine.view.calibrations(point.id);
    const raw = await rawOf(point);
    return sendHtml(reply, calibratePage({
      viewer: viewerOf(context, request), point, zone: zoneOf(point), raw, calibrations, ...more,
      ownerName: [...tanks, ...sites].find(({ id }) => id === (point.tankId ?? point.siteId))?.name ?? point.id,
      shown: raw === null ? null : calibrate(calibrations, raw.atMs, raw.value),
    }), status);
  }
}
