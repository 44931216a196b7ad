/** The service file: where data lives, where pages are served, which broker, which mail server. Checked completely before anything connects. */
import { dirname, resolve } from 'node:path';
import { type Findings, findingsIn } from './findings.ts';
import { fieldOf } from './fleet-reading.ts';
import { inFileOrder, type Mistake } from './mistake.ts';
import { type Environment, missingSecrets, type NamedSecret, namedSecret } from './secrets.ts';
import type { ServiceConfig } from './service.ts';
import { serviceShapes } from './service-shapes.ts';
import { type Path, parseYaml, type YamlDocument } from './yaml-document.ts';

export type ServiceReading =
  | {
      readonly config: ServiceConfig;
      /** Worth a second look; nothing that keeps the service from starting. */
      readonly warnings: readonly Mistake[];
      /** Environment variables named in the file and not set: `check` warns, `serve` refuses to start. */
      readonly missingSecrets: readonly Mistake[];
    }
  | { readonly mistakes: readonly Mistake[] };

/** @param fileName paths inside are relative to its folder; as shown in messages. */
export function readService(text: string, fileName: string, env: Environment): ServiceReading {
  const { document, mistakes: syntax } = parseYaml(text, fileName);
  if (document === null) return { mistakes: inFileOrder(syntax) };
  const reader: Reader = { document, findings: findingsIn(document), warnings: findingsIn(document), secrets: [], folder: dirname(resolve(fileName)) };
  const config = readConfig(reader);
  const mistakes = [...syntax, ...reader.findings.mistakes];
  if (mistakes.length > 0 || config === null) return { mistakes: inFileOrder(mistakes) };
  return { config, warnings: inFileOrder(reader.warnings.mistakes), missingSecrets: missingSecrets(reader.secrets, env) };
}

interface Reader {
  readonly document: YamlDocument;
  readonly findings: Findings;
  readonly warnings: Findings;
  readonly secrets: NamedSecret[];
  /** Absolute. */
  readonly folder: string;
}

const defaults = { data: 'data', fleet: 'fleet.yaml', webHost: '127.0.0.1', webPort: 8710, brokerHost: '127.0.0.1', clientId: 'tankbell' } as const;
/** 1883 and 8883 are the ports registered for MQTT and MQTT over TLS; 25, 465 and 587 those for mail (IANA service names and port numbers; from memory). */
const mqttPort = { plain: 1883, tls: 8883 } as const;
const mailPort = { none: 25, tls: 465, starttls: 587 } as const;

export const isLoopback = (host: string): boolean => host === 'localhost' || host === '::1' || host === '[::1]' || /^127(\.\d{1,3}){3}$/.test(host);
const isEveryAddress = (host: string): boolean => host === '0.0.0.0' || host === '::';

function readConfig(reader: Reader): ServiceConfig | null {
  const { document, findings, folder } = reader;
  if (document.value === null || document.value === undefined) {
    findings.at([], 'the file is empty', 'begin with "data: data" and "fleet: fleet.yaml"; config/service.example.yaml shows every key');
    return null;
  }
  const top = findings.shape(serviceShapes.service, [], document.value);
  const web = readWeb(reader, blockOf(document.value, 'web'));
  const mqtt = readMqtt(reader, blockOf(document.value, 'mqtt'));
  const mail = fieldOf(document.value, 'mail') === undefined ? null : readMail(reader, fieldOf(document.value, 'mail'));
  if (top === null || web === null || mqtt === null) return null;
  if (mqtt.broker === 'embedded' && mqtt.port === web.port && mqtt.port !== 0) {
    findings.at(['web', 'port'], `the web pages and the broker both want port ${web.port}`, `write another "port" for one of them; they are ${defaults.webPort} and ${mqttPort.plain} when left out`);
  }
  if (mail === null && fieldOf(document.value, 'mail') === undefined) {
    reader.warnings.at([], 'there is no "mail" block: alarms are shown, and nobody is rung', 'add "mail:" with host, security, user, passwordEnv and from');
  }
  if (mail !== null && isLoopback(new URL(web.publicUrl).hostname)) {
    reader.warnings.at(['web'], `links in messages will begin with ${web.publicUrl}, which opens on this machine only`, 'write "publicUrl: https://…" as people reach it from their phones');
  }
  return {
    dataDir: resolve(folder, top.data ?? defaults.data),
    fleetFile: resolve(folder, top.fleet ?? defaults.fleet),
    web,
    mqtt,
    mail,
    notice: top.notice ?? null,
  };
}

/** An absent block means all of its defaults. */
function blockOf(document: unknown, key: string): unknown {
  const block = fieldOf(document, key);
  return block === undefined ? {} : block;
}

function readWeb(reader: Reader, value: unknown): ServiceConfig['web'] | null {
  const { findings, warnings } = reader;
  const parsed = findings.shape(serviceShapes.web, ['web'], value);
  if (parsed === null) return null;
  const { host = defaults.webHost, port = defaults.webPort, publicUrl } = parsed;
  if (publicUrl === undefined && isEveryAddress(host)) {
    findings.at(['web', 'host'], `with "host: ${host}" it is not known under which address people reach the pages`, 'add "publicUrl: https://…": links in messages begin with it');
  } else if (!isLoopback(host) && publicUrl?.startsWith('https://') !== true) {
    warnings.at(['web', 'host'], `the pages are served on ${host} without encryption: passwords can be read on the way`, 'keep "host: 127.0.0.1", put a proxy that speaks TLS in front, and write its address as "publicUrl: https://…"');
  }
  const shownHost = host.includes(':') ? `[${host}]` : host;
  return { host, port, publicUrl: publicUrl ?? `http://${shownHost}:${port}` };
}

function readMqtt(reader: Reader, value: unknown): ServiceConfig['mqtt'] | null {
  const { findings } = reader;
  const parsed = findings.shape(serviceShapes.mqtt, ['mqtt'], value);
  const embedded = fieldOf(value, 'embedded');
  const external = fieldOf(value, 'external');
  if (embedded !== undefined && external !== undefined) {
    findings.atKey(['mqtt', 'external'], 'both brokers are named, the built-in one and an external one', 'keep "embedded" or "external", and remove the other');
  }
  const readEmbeddedBlock = external === undefined || embedded !== undefined;
  const broker = readEmbeddedBlock ? readEmbedded(reader, embedded === undefined ? {} : embedded) : null;
  const client = external === undefined ? null : readExternal(reader, external);
  return parsed === null ? null : (client ?? broker);
}

function readEmbedded(reader: Reader, value: unknown): ServiceConfig['mqtt'] | null {
  const { findings, warnings, folder } = reader;
  const path = ['mqtt', 'embedded'];
  const parsed = findings.shape(serviceShapes.embedded, path, value);
  const tls = parsed?.tls === undefined ? null : findings.shape(serviceShapes.tls, [...path, 'tls'], parsed.tls);
  if (parsed === null) return null;
  const { host = defaults.brokerHost, port = parsed.tls === undefined ? mqttPort.plain : mqttPort.tls } = parsed;
  if (!isLoopback(host) && parsed.tls === undefined) {
    warnings.at([...path, 'host'], `the broker listens on ${host} without TLS: passwords of the sites can be read on the way`, 'add "tls: { cert: …, key: … }", or keep it to a network of your own (a VPN to the sites)');
  }
  return { broker: 'embedded', host, port, tls: tls === null ? null : { certFile: resolve(folder, tls.cert), keyFile: resolve(folder, tls.key) } };
}

function readExternal(reader: Reader, value: unknown): ServiceConfig['mqtt'] | null {
  const { findings, warnings, folder } = reader;
  const path = ['mqtt', 'external'];
  const parsed = findings.shape(serviceShapes.external, path, value);
  if (parsed === null) return null;
  const { url, clientId = defaults.clientId, user = null, passwordEnv = null, ca = null, protocol = '3.1.1' } = parsed;
  checkLogin(reader, path, user, passwordEnv, 'the broker login');
  const isEncrypted = /^(mqtts|wss):/.test(url);
  if (ca !== null && !isEncrypted) findings.at([...path, 'ca'], '"ca" checks the certificate of an encrypted connection, and this one is not encrypted', 'write "url: mqtts://…", or remove "ca"');
  if (passwordEnv !== null && !isEncrypted && !isLoopback(new URL(url).hostname)) {
    warnings.at([...path, 'url'], 'the connection to the broker is not encrypted: the password can be read on the way', 'write "url: mqtts://…" with the TLS port of the broker, usually 8883');
  }
  return { broker: 'external', url, clientId, user, passwordEnv, caFile: ca === null ? null : resolve(folder, ca), protocolVersion: protocol === '3.1.1' ? 4 : 5 };
}

function readMail(reader: Reader, value: unknown): ServiceConfig['mail'] {
  const { findings, warnings } = reader;
  const parsed = findings.shape(serviceShapes.mail, ['mail'], value);
  if (parsed === null) return null;
  const { host, security = 'starttls', port = mailPort[security], user = null, passwordEnv = null, from } = parsed;
  checkLogin(reader, ['mail'], user, passwordEnv, 'the mail login');
  if (security === 'none' && !isLoopback(host)) {
    if (passwordEnv !== null) findings.at(['mail', 'security'], `a password would be sent to ${host} without encryption`, 'write "security: starttls" (port 587) or "security: tls" (port 465)');
    else warnings.at(['mail', 'security'], `messages are handed to ${host} without encryption: their links can be read on the way`, 'write "security: starttls" or "security: tls" if the server can');
  }
  return { host, port, security, user, passwordEnv, from };
}

function checkLogin(reader: Reader, path: Path, user: string | null, passwordEnv: string | null, whose: string): void {
  if (user !== null && passwordEnv === null) reader.findings.at([...path, 'user'], '"user" has no password', 'add "passwordEnv: …" with the name of the environment variable that holds it');
  if (user === null && passwordEnv !== null) reader.findings.at([...path, 'passwordEnv'], '"passwordEnv" belongs to no user', 'add "user: …"');
  if (passwordEnv !== null) reader.secrets.push(namedSecret(reader.document, [...path, 'passwordEnv'], passwordEnv, whose));
}
