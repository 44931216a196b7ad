import { resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { readService, type ServiceReading } from '../../src/config/service-file.ts';

type Read = Exclude<ServiceReading, { readonly mistakes: unknown }>;

function read(text: string, env: Readonly<Record<string, string>> = {}, file = '/srv/tanks/service.yaml'): Read {
  const reading = readService(text, file, env);
  if ('mistakes' in reading) throw new Error(JSON.stringify(reading.mistakes, null, 1));
  return reading;
}

describe('what is left out', () => {
  test('everything but one key', () => {
    expect(read('data: data\n').config).toEqual({
      dataDir: resolve('/srv/tanks/data'),
      fleetFile: resolve('/srv/tanks/fleet.yaml'),
      web: { host: '127.0.0.1', port: 8710, publicUrl: 'http://127.0.0.1:8710' },
      mqtt: { broker: 'embedded', host: '127.0.0.1', port: 1883, tls: null },
      mail: null,
      notice: null,
    });
  });

  test('the port follows the encryption: 8883 with TLS (IANA), 587, 465 and 25 for mail (RFC 8314, RFC 5321; from memory)', () => {
    expect(read('mqtt: { embedded: { tls: { cert: a.crt, key: a.key } } }').config.mqtt).toMatchObject({ port: 8883, tls: { certFile: resolve('/srv/tanks/a.crt'), keyFile: resolve('/srv/tanks/a.key') } });
    const portOf = (security: string): number | undefined => read(`mail: { host: 127.0.0.1, ${security}from: t@example.com }`).config.mail?.port;
    expect([portOf(''), portOf('security: starttls, '), portOf('security: tls, '), portOf('security: none, ')]).toEqual([587, 587, 465, 25]);
  });

  test('an external broker', () => {
    expect(read('mqtt: { external: { url: "mqtts://broker.example.com:8883", ca: ca.crt } }').config.mqtt).toEqual({
      broker: 'external', url: 'mqtts://broker.example.com:8883', clientId: 'tankbell', user: null, passwordEnv: null, caFile: resolve('/srv/tanks/ca.crt'), protocolVersion: 4,
    });
    expect(read('mqtt: { external: { url: "mqtt://127.0.0.1", protocol: 5 } }').config.mqtt).toMatchObject({ protocolVersion: 5 });
    expect(read('mqtt: { external: { url: "mqtt://127.0.0.1", protocol: 3.1.1 } }').config.mqtt).toMatchObject({ protocolVersion: 4 });
  });

  test('paths are relative to the folder of the file, also when that is named relatively; absolute ones stay', () => {
    expect(read('data: ../d\nfleet: /etc/fleet.yaml', {}, 'some/service.yaml').config).toMatchObject({ dataDir: resolve('d'), fleetFile: resolve('/etc/fleet.yaml') });
  });

  test('a slash behind the public address is dropped: links are built by adding to it', () => {
    expect(read('web: { publicUrl: "https://tanks.example.com/" }').config.web.publicUrl).toBe('https://tanks.example.com');
  });
});

describe('secrets', () => {
  const text = 'mqtt: { external: { url: "mqtts://b.example.com", user: u, passwordEnv: BROKER } }\nmail: { host: m.example.com, user: u, passwordEnv: MAIL, from: t@example.com }\nweb: { publicUrl: "https://t.example.com" }';
  test('each variable that is not set is told with its place', () => {
    expect(read(text, { MAIL: 'x' }).missingSecrets).toMatchObject([{ line: 1, path: 'mqtt.external.passwordEnv' }]);
    expect(read(text, { MAIL: 'x', BROKER: 'y' }).missingSecrets).toEqual([]);
  });
});

describe('warnings: allowed, and worth a second look', () => {
  const warned = (text: string): readonly string[] => read(text).warnings.map(({ path }) => path);
  const mail = 'mail: { host: mail.example.com, from: t@example.com }';
  const good = `web: { publicUrl: "https://t.example.com" }\n${mail}\n`;

  test('none for a good file', () => expect(warned(good)).toEqual([]));
  test('no mail: nobody is rung', () => expect(read('data: d').warnings[0]?.message).toContain('nobody is rung'));
  test('pages on the network without encryption', () => {
    expect(warned(good.replace('{ pub', '{ host: 192.0.2.4, pub'))).toEqual([]);
    expect(warned(good.replace('{ pub', '{ host: 192.0.2.4, pub').replace('https', 'http'))).toEqual(['web.host']);
    expect(warned(`web: { host: 192.0.2.4 }\n${mail}`)).toEqual(['web.host']);
  });
  test('links that open on this machine only', () => expect(warned(mail)).toEqual(['web']));
  test('a broker on the network without TLS', () => {
    expect(warned(`${good}mqtt: { embedded: { host: 0.0.0.0 } }`)).toEqual(['mqtt.embedded.host']);
    expect(warned(`${good}mqtt: { embedded: { host: 0.0.0.0, tls: { cert: c, key: k } } }`)).toEqual([]);
  });
  test('a broker password that travels in the clear', () => {
    const broker = (url: string): string => `${good}mqtt: { external: { url: "${url}", user: u, passwordEnv: P } }`;
    expect(warned(broker('mqtt://b.example.com'))).toEqual(['mqtt.external.url']);
    expect(warned(broker('mqtts://b.example.com'))).toEqual([]);
    expect(warned(broker('mqtt://127.0.0.1'))).toEqual([]);
  });
  test('mail without encryption: on this machine freely, elsewhere with a warning, with a password never', () => {
    const open = (host: string, login: string): string => `web: { publicUrl: "https://t.example.com" }\nmail: { host: ${host}, security: none, ${login}from: t@example.com }`;
    expect(warned(open('localhost', 'user: u, passwordEnv: P, '))).toEqual([]);
    expect(warned(open('192.0.2.5', ''))).toEqual(['mail.security']);
    expect(readService(open('192.0.2.5', 'user: u, passwordEnv: P, '), 's.yaml', {})).toMatchObject({ mistakes: [{ path: 'mail.security' }] });
  });
});
