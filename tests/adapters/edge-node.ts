/** A small Sparkplug edge node for tests, after Eclipse Sparkplug 3.0.0; payloads by the npm package `sparkplug-payload`. */
import { createRequire } from 'node:module';
import { connectAsync, type MqttClient } from 'mqtt';
import { z } from 'zod';

const require = createRequire(import.meta.url);
export const { encodePayload, decodePayload } = z
  .object({
    encodePayload: z.custom<(payload: object) => Uint8Array>((value) => typeof value === 'function'),
    decodePayload: z.custom<(bytes: Uint8Array) => { readonly seq?: unknown; readonly metrics?: readonly { readonly name?: string; readonly value?: unknown }[] }>((value) => typeof value === 'function'),
  })
  .parse(z.object({ get: z.custom<(namespace: string) => unknown>() }).parse(require('sparkplug-payload')).get('spBv1.0'));

export interface EdgeValue {
  readonly alias: number;
  readonly type: 'Float' | 'Double' | 'Int32';
  value: number;
}

export interface EdgeNodeOptions {
  readonly port: number;
  readonly group: string;
  readonly node: string;
  readonly device: string;
  readonly values: Record<string, EdgeValue>;
  readonly deviceValues: Record<string, EdgeValue>;
  readonly bdSeq: number;
  readonly login?: { readonly username: string; readonly password: string };
}

export class EdgeNode {
  /** Names of the commands received. */
  readonly commands: string[] = [];
  readonly hostStates: unknown[] = [];
  births = 0;
  #seq = 0;
  readonly #client: MqttClient;
  readonly #options: EdgeNodeOptions;

  private constructor(options: EdgeNodeOptions, client: MqttClient) {
    this.#options = options;
    this.#client = client;
  }

  /** Connected and born. */
  static async connect(options: EdgeNodeOptions): Promise<EdgeNode> {
    const { port, group, node, bdSeq, login = {} } = options;
    const will = { topic: `spBv1.0/${group}/NDEATH/${node}`, payload: Buffer.from(encodePayload({ timestamp: Date.now(), metrics: [{ name: 'bdSeq', type: 'Int64', value: bdSeq }] })), qos: 1 as const, retain: false };
    const client = await connectAsync(`mqtt://127.0.0.1:${port}`, { clean: true, reconnectPeriod: 0, will, ...login });
    const edge = new EdgeNode(options, client);
    client.on('message', (topic, payload) => {
      if (topic.startsWith('spBv1.0/STATE/')) edge.hostStates.push(JSON.parse(payload.toString()));
      else for (const { name, value } of decodePayload(payload).metrics ?? []) edge.#command(name ?? '', value);
    });
    await client.subscribeAsync([`spBv1.0/${group}/NCMD/${node}`, 'spBv1.0/STATE/tankbell-test', 'spBv1.0/STATE/tankbell'], { qos: 1 });
    await edge.birth();
    return edge;
  }

  async birth(): Promise<void> {
    const { values, deviceValues, bdSeq, device } = this.#options;
    this.#seq = 0;
    await this.#send('NBIRTH', null, [
      { name: 'bdSeq', type: 'Int64', value: bdSeq, timestamp: Date.now() },
      { name: 'Node Control/Rebirth', type: 'Boolean', value: false, timestamp: Date.now() },
      ...named(values),
    ]);
    await this.#send('DBIRTH', device, named(deviceValues));
    this.births += 1;
  }

  /** By number (alias) only, as data is sent. @param at and history for what was stored. */
  async data(name: string, value: number, more: { readonly at?: number; readonly isHistorical?: boolean; readonly isNull?: boolean } = {}): Promise<void> {
    const { values, deviceValues, device } = this.#options;
    const own = values[name];
    const metric = own ?? deviceValues[name];
    if (metric === undefined) throw new Error(`no metric ${name}`);
    if (more.isHistorical !== true) metric.value = value;
    const { at = Date.now(), ...flags } = more;
    await this.#send(own === undefined ? 'DDATA' : 'NDATA', own === undefined ? device : null, [{ alias: metric.alias, type: metric.type, value: more.isNull === true ? null : value, timestamp: at, ...flags }]);
  }

  async deviceDeath(): Promise<void> {
    await this.#send('DDEATH', this.#options.device, []);
  }

  /** As if a message had been lost on the way. */
  loseOne(): void {
    this.#seq = (this.#seq + 1) % 256;
  }

  /** The network is gone: no DISCONNECT is sent, and the broker publishes the will. */
  kill(): void {
    this.#client.stream.destroy();
  }

  end(): Promise<void> {
    return this.#client.endAsync(true);
  }

  #command(name: string, value: unknown): void {
    this.commands.push(name);
    if (name === 'Node Control/Rebirth' && value === true) void this.birth();
  }

  async #send(type: string, device: string | null, metrics: readonly object[]): Promise<void> {
    const { group, node } = this.#options;
    const payload = encodePayload({ timestamp: Date.now(), seq: this.#seq, metrics: [...metrics] });
    this.#seq = (this.#seq + 1) % 256;
    await this.#client.publishAsync(['spBv1.0', group, type, node, ...(device === null ? [] : [device])].join('/'), Buffer.from(payload), { qos: 0 });
  }
}

const named = (values: Record<string, EdgeValue>): object[] => Object.entries(values).map(([name, { alias, type, value }]) => ({ name, alias, type, value, timestamp: Date.now() }));
