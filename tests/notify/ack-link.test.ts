import { describe, expect, it } from 'vitest';
import { ACKNOWLEDGE_PATH, hmacSha256, makeAckLinks } from '../../src/notify/ack-link.ts';

const secret = new Uint8Array(32).map((_, index) => index * 7 + 3);
const links = makeAckLinks(secret, 'https://bell.example.invalid/');
const expiresMs = Date.parse('2026-11-27T09:10:00.123Z');
const tokenOf = (link: string): string => link.slice(link.indexOf(ACKNOWLEDGE_PATH) + ACKNOWLEDGE_PATH.length);
const token = tokenOf(links.link(12, 'ana', expiresMs));

describe('the primitive', () => {
  // RFC 4231 §4.2, §4.3 and §4.7 (test cases 1, 2 and 6), HMAC-SHA-256; values from memory.
  it.each([
    ['1', Buffer.alloc(20, 0x0b), 'Hi There', 'b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7'],
    ['2', Buffer.from('Jefe'), 'what do ya want for nothing?', '5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843'],
    ['6', Buffer.alloc(131, 0xaa), 'Test Using Larger Than Block-Size Key - Hash Key First', '60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54'],
  ])('is HMAC-SHA-256 as in RFC 4231 (from memory), test case %s', (_, key, data, expected) => {
    expect(hmacSha256(key, Buffer.from(data)).toString('hex')).toBe(expected);
  });
});

describe('acknowledge links', () => {
  it('stand for one alarm and one person, at the public address', () => {
    expect(links.link(12, 'ana', expiresMs)).toBe(`https://bell.example.invalid/acknowledge/${token}`);
    expect(links.verify(token, expiresMs - 1)).toEqual({ ok: true, alarmId: 12, personId: 'ana' });
  });

  it('are short and need no escaping in a URL', () => {
    expect(token).toMatch(/^[A-Za-z0-9_-]{20,40}$/);
  });

  it('end exactly when they expire', () => {
    expect(links.verify(token, expiresMs - 1).ok).toBe(true);
    expect(links.verify(token, expiresMs)).toEqual({ ok: false, why: 'expired' });
    expect(links.verify(token, expiresMs + 1e12)).toEqual({ ok: false, why: 'expired' });
  });

  it.each([[0, 'a'], [127, 'b'], [128, 'Ünïcode/№'], [16_384, ''], [Number.MAX_SAFE_INTEGER, 'x'.repeat(200)]])('carry alarm %d for "%s"', (alarmId, personId) => {
    expect(links.verify(tokenOf(links.link(alarmId, personId, expiresMs)), 0)).toEqual({ ok: true, alarmId, personId });
  });

  it('refuse every single flipped bit', () => {
    const bytes = Buffer.from(token, 'base64url');
    for (let bit = 0; bit < bytes.length * 8; bit += 1) {
      const bent = Buffer.from(bytes);
      bent.writeUInt8(bent.readUInt8(bit >> 3) ^ (1 << (bit & 7)), bit >> 3);
      expect(links.verify(bent.toString('base64url'), 0), `bit ${bit}`).toEqual({ ok: false, why: 'invalid' });
    }
  });

  it('refuse every truncation and every addition', () => {
    for (let length = 0; length < token.length; length += 1) {
      expect(links.verify(token.slice(0, length), 0), `first ${length}`).toEqual({ ok: false, why: 'invalid' });
    }
    for (const more of ['A', 'AA', '=', '==', '.', ' ', '\n', '%3D']) expect(links.verify(token + more, 0), JSON.stringify(more)).toEqual({ ok: false, why: 'invalid' });
  });

  it('have one spelling only: other characters that decode to the same bytes are refused', () => {
    const last = token.slice(-1);
    const bytes = Buffer.from(token, 'base64url');
    const twins = [...'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_']
      .filter((char) => char !== last && Buffer.from(token.slice(0, -1) + char, 'base64url').equals(bytes));
    // 16 + 1 + 6 + 3 bytes are 208 bits, 35 characters 210: two bits of the last one say nothing, so it has 2² − 1 twins.
    expect(twins).toHaveLength(3);
    for (const twin of twins) expect(links.verify(token.slice(0, -1) + twin, 0).ok, twin).toBe(false);
  });

  it('are worthless under another secret', () => {
    const others = makeAckLinks(new Uint8Array(secret).fill(9, 31), 'https://bell.example.invalid');
    expect(others.verify(token, 0)).toEqual({ ok: false, why: 'invalid' });
  });

  it('do not accept a MAC made for another purpose with the same secret', () => {
    const payload = Buffer.from(token, 'base64url').subarray(16);
    const bare = Buffer.concat([hmacSha256(secret, payload).subarray(0, 16), payload]).toString('base64url');
    expect(links.verify(bare, 0)).toEqual({ ok: false, why: 'invalid' });
  });

  it('do not waste time on novels', () => {
    expect(links.verify('A'.repeat(5000), 0)).toEqual({ ok: false, why: 'invalid' });
  });

  it('need a real secret', () => {
    expect(() => makeAckLinks(new Uint8Array(31), 'https://bell.example.invalid')).toThrow(/32 bytes/);
  });
});
