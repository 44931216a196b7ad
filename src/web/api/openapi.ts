/** The OpenAPI 3.1 document, made of the schemas that check the requests. Its dialect of JSON Schema is zod's own: 2020-12. */
import { z } from 'zod';
import type { Endpoint } from './endpoint.ts';
import { importQuery, importSettings } from '../import-query.ts';
import { postedShape } from '../readings-body.ts';
import { takenShape } from '../routes/readings.ts';
import { errorShape, importShape } from './shapes.ts';

export type Json = null | boolean | number | string | readonly Json[] | { readonly [key: string]: Json | undefined };

export function openApiDocument(endpoints: readonly Endpoint[], serverUrl: string): Json {
  const paths: Record<string, Record<string, Json>> = {};
  for (const one of endpoints) {
    const path = one.path.replaceAll(/:(\w+)/g, '{$1}');
    paths[path] = { ...paths[path], [one.method.toLowerCase()]: operation(one) };
  }
  paths['/api/import'] = {
    post: {
      summary: 'Imports a CSV file (long or wide): the bytes are the body.',
      parameters: parameters(importQuery, 'query').map((one) => ({ ...(one as object), required: false })),
      requestBody: { required: true, content: { 'text/csv': { schema: { type: 'string' } } } },
      responses: {
        200: { description: 'What was read, stored, known already and refused.', content: { 'application/json': { schema: schemaOf(importShape, 'output') } } },
        202: { description: 'Begun (`wait=false`).', content: { 'application/json': { schema: schemaOf(importShape, 'output') } } },
        400: failure('The request is not as described; the message says where.'), 401: failure('Not logged in.'), 404: failure('There is no such tank.'), 503: failure('Too many files wait.'),
      },
    },
  };
  const jobResponses: Json = {
    200: { description: 'How far it is, or what came of it.', content: { 'application/json': { schema: schemaOf(importShape, 'output') } } },
    401: failure('Not logged in.'), 404: failure('There is no such import (any more).'),
  };
  const importId: Json = [{ name: 'id', in: 'path', required: true, schema: { type: 'string' } }];
  paths['/api/import/{id}'] = { get: { summary: 'How far an import is; kept for a day.', parameters: importId, responses: jobResponses } };
  paths['/api/import/{id}/cancel'] = { post: { summary: 'Cancels an import; what is stored stays.', parameters: importId, responses: jobResponses } };
  paths['/api/import/{id}/rejected.csv'] = {
    get: {
      summary: 'The refused lines of an import, as CSV.', parameters: importId,
      responses: { 200: { description: 'line, reason', content: { 'text/csv': { schema: { type: 'string' } } } }, 401: failure('Not logged in.'), 404: failure('There is no such list (any more).') },
    },
  };
  paths['/api/sites/{site}/readings'] = {
    post: {
      summary: 'Takes readings of devices of a site; answered once they are on the disk.',
      description: 'With the token of the site (`httpTokenEnv` in the fleet file). CSV bodies: long or wide, columns named by point ids; how to read them is said in the query. SenML packs where that format is installed, with point ids as names.',
      security: [{ site: [] }],
      parameters: [{ name: 'site', in: 'path', required: true, schema: { type: 'string' } }, ...parameters(importSettings, 'query').map((one) => ({ ...(one as object), required: false }))],
      requestBody: { required: true, content: { 'application/json': { schema: schemaOf(postedShape, 'input') }, 'text/csv': { schema: { type: 'string' } } } },
      responses: {
        200: { description: 'Taken; single readings may be refused, each with its reason.', content: { 'application/json': { schema: schemaOf(takenShape, 'output') } } },
        422: { description: 'Nothing was taken, every reading was refused.', content: { 'application/json': { schema: schemaOf(takenShape, 'output') } } },
        400: failure('The body cannot be read; the message says what to send.'), 401: failure('Not the token of this site.'), 413: failure('Too large, or too many readings.'),
        415: failure('A media type that is not known.'), 429: failure('Too many wrong tokens from this address; see Retry-After.'), 503: failure('The queue is full: nothing was taken. Send it again after Retry-After.'),
      },
    },
  };
  paths['/api/live'] = {
    get: {
      summary: 'Server-sent events: `change` names tanks with new readings and changed alarms, `alive` comes every 15 s.',
      responses: { 200: { description: 'A stream.', content: { 'text/event-stream': { schema: { type: 'string' } } } }, 401: failure('Not logged in.') },
    },
  };
  return {
    openapi: '3.1.0',
    info: { title: 'Tankbell', version: '1', description: 'Log in with POST /login (form fields name and password) and send the session cookie. Times are milliseconds since 1970, values canonical.' },
    servers: [{ url: serverUrl }],
    security: [{ session: [] }],
    paths,
    components: { securitySchemes: { session: { type: 'apiKey', in: 'cookie', name: 'tankbell-session' }, site: { type: 'http', scheme: 'bearer' } } },
  };
}

function operation(one: Endpoint): Json {
  const body = schemaOf(one.body, 'input');
  const hasBody = one.method === 'POST' && Object.keys(propertiesOf(body)).length > 0;
  return {
    summary: one.summary,
    parameters: [...parameters(one.params, 'path'), ...parameters(one.query, 'query')],
    requestBody: hasBody ? { required: true, content: { 'application/json': { schema: body } } } : undefined,
    responses: {
      200: { description: 'As asked.', content: { 'application/json': { schema: schemaOf(one.answer, 'output') } } },
      400: failure('The request is not as described; the message says where.'),
      401: failure('Not logged in.'),
      ...Object.fromEntries(Object.entries(one.failures).map(([status, when]) => [status, failure(when)])),
    },
  };
}

function failure(description: string): Json {
  return { description, content: { 'application/json': { schema: schemaOf(errorShape, 'output') } } };
}

function parameters(schema: z.ZodType, place: 'path' | 'query'): Json[] {
  const json = schemaOf(schema, place === 'query' ? 'output' : 'input');
  const needed = new Set(requiredOf(schemaOf(schema, 'input')));
  return Object.entries(propertiesOf(json)).map(([name, property]) => ({ name, in: place, required: place === 'path' || needed.has(name), schema: property }));
}

function schemaOf(schema: z.ZodType, io: 'input' | 'output'): { readonly [key: string]: Json } {
  const { $schema: _dialect, ...rest } = z.toJSONSchema(schema, { io, unrepresentable: 'any' }) as { readonly [key: string]: Json };
  return rest;
}

function propertiesOf(schema: Json): { readonly [key: string]: Json } {
  const properties = schema !== null && typeof schema === 'object' && !Array.isArray(schema) ? (schema as { properties?: Json }).properties : undefined;
  return properties !== null && typeof properties === 'object' && !Array.isArray(properties) ? (properties as { readonly [key: string]: Json }) : {};
}

function requiredOf(schema: { readonly [key: string]: Json }): readonly string[] {
  const { required } = schema;
  return Array.isArray(required) ? required.filter((name) => typeof name === 'string') : [];
}
