/** The blocks of the service file, key by key. What ties keys together is checked in `service-file.ts`. */
import { z } from 'zod';
import { environmentName, isMailAddress } from './fleet-shapes.ts';

const text = () => z.string().trim().min(1);
const port = () => z.int().min(0).max(65_535);

const refusing = (judge: (value: string) => { readonly message: string; readonly fix: string } | null) =>
  z.string().superRefine((value, context) => {
    const refusal = judge(value);
    if (refusal !== null) context.addIssue({ code: 'custom', message: refusal.message, params: { fix: refusal.fix } });
  });

const host = refusing((value) =>
  /^[A-Za-z0-9.:_-]+$/.test(value) && !value.includes('//')
    ? null
    : { message: `"${value}" is no host name or address`, fix: 'write only the host, like 127.0.0.1 or mail.example.com; ports have their own key' },
);

const readUrl = (value: string): URL | null => (URL.canParse(value) ? new URL(value) : null);

const publicUrl = refusing((value) => {
  const url = readUrl(value);
  if (url === null || !/^https?:$/.test(url.protocol)) return { message: `"${value}" is no web address`, fix: 'write it in full, like https://tanks.example.com' };
  if (url.username !== '' || url.search !== '' || url.hash !== '') return { message: `"${value}" holds more than an address`, fix: `write "publicUrl: ${url.origin}"` };
  if (url.pathname !== '/') return { message: `"${value}" holds a path: the web pages live at the top of their host`, fix: `write "publicUrl: ${url.origin}"` };
  return null;
}).transform((value) => value.replace(/\/+$/, ''));

const brokerUrl = refusing((value) => {
  const url = readUrl(value);
  if (url === null || !/^mqtts?:$/.test(url.protocol) || url.hostname === '') return { message: 'this is no broker address', fix: 'write mqtt:// or mqtts://, a host and a port, like mqtts://broker.example.com:8883' };
  if (url.username !== '' || url.password !== '') return { message: 'the broker address holds a user name or password', fix: `write "url: ${url.protocol}//${url.host}", "user: …" and "passwordEnv: …"` };
  return null;
});

const sender = refusing((value) => {
  const address = /<([^<>]*)>\s*$/.exec(value)?.[1] ?? value.trim();
  return isMailAddress(address) && !/[\r\n]/.test(value) ? null : { message: `"${value}" is no sender`, fix: 'write a name and an address, like "Tankbell <tankbell@example.com>"' };
});

export const serviceShapes = {
  service: z.strictObject({
    data: text().optional().meta({ example: 'data' }),
    fleet: text().optional().meta({ example: 'fleet.yaml' }),
    web: z.unknown().optional(),
    mqtt: z.unknown().optional(),
    mail: z.unknown().optional(),
    notice: text().optional().meta({ example: 'Demonstration: nothing here is real' }),
  }),
  web: z.strictObject({
    host: host.optional().meta({ example: '127.0.0.1' }),
    port: port().optional().meta({ example: '8710' }),
    publicUrl: publicUrl.optional().meta({ example: 'https://tanks.example.com' }),
  }),
  mqtt: z.strictObject({
    embedded: z.unknown().optional(),
    external: z.unknown().optional(),
  }),
  embedded: z.strictObject({
    host: host.optional().meta({ example: '0.0.0.0' }),
    port: port().optional().meta({ example: '1883' }),
    tls: z.unknown().optional().meta({ example: '{ cert: broker.crt, key: broker.key }' }),
  }),
  tls: z.strictObject({
    cert: text().meta({ example: 'broker.crt', description: 'certificate with its chain, PEM' }),
    key: text().meta({ example: 'broker.key', description: 'private key, PEM' }),
  }),
  external: z.strictObject({
    url: brokerUrl.meta({ example: 'mqtts://broker.example.com:8883', description: 'address of the broker' }),
    clientId: text().max(128).optional().meta({ example: 'tankbell' }),
    user: text().optional().meta({ example: 'tankbell' }),
    passwordEnv: environmentName.optional().meta({ example: 'TANKBELL_BROKER' }),
    ca: text().optional().meta({ example: 'broker-ca.crt' }),
    protocol: z.union([z.literal('3.1.1'), z.literal(5), z.literal('5')], { error: 'write "protocol: 3.1.1" or "protocol: 5"' }).optional().meta({ example: '3.1.1' }),
  }),
  mail: z.strictObject({
    host: host.meta({ example: 'mail.example.com', description: 'the SMTP server' }),
    port: port().min(1).optional().meta({ example: '587' }),
    security: z.enum(['starttls', 'tls', 'none']).optional().meta({ example: 'starttls' }),
    user: text().optional().meta({ example: 'tankbell@example.com' }),
    passwordEnv: environmentName.optional().meta({ example: 'TANKBELL_MAIL' }),
    from: sender.meta({ example: 'Tankbell <tankbell@example.com>', description: 'the sender people see' }),
  }),
} as const;
