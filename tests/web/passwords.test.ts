import { scryptSync } from 'node:crypto';
import { expect, test } from 'vitest';
import { hashOfNobody, hashPassword, passwordMatches, passwordProblem } from '../../src/web/passwords.ts';

test('the right password matches, others do not, and no two hashes are alike', async () => {
  const [one, two] = await Promise.all([hashPassword('correct horse tank'), hashPassword('correct horse tank')]);
  expect(one).not.toBe(two);
  expect(one).toMatch(/^scrypt\$32768\$8\$3\$[\w-]{22}\$[\w-]{43}$/);
  expect(await passwordMatches('correct horse tank', one)).toBe(true);
  expect(await passwordMatches('correct horse tanK', one)).toBe(false);
  expect(await passwordMatches('', one)).toBe(false);
});

test('the parameters in the hash are used, whatever today’s are: RFC 7914 §12, N = 1024, r = 8, p = 16', async () => {
  // From memory: RFC 7914 §12, second test vector: scrypt(P="password", S="NaCl", N=1024, r=8, p=16, dkLen=64).
  const key = Buffer.from('fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b3731622eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640', 'hex');
  const hash = `scrypt$1024$8$16$${Buffer.from('NaCl').toString('base64url')}$${key.toString('base64url')}`;
  expect(await passwordMatches('password', hash)).toBe(true);
  expect(await passwordMatches('passwords', hash)).toBe(false);
  expect(scryptSync('password', 'NaCl', 64, { N: 1024, r: 8, p: 16 }).equals(key)).toBe(true);
});

test('the same letters composed differently are the same password', async () => {
  expect(await passwordMatches('Gru\u0308n und lang', await hashPassword('Gr\u00fcn und lang'))).toBe(true);
});

test.each(['', 'plain', 'scrypt$x$8$1$AAAA$AAAA', 'scrypt$1048576$64$16$AAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAA', 'scrypt$3$8$1$AAAA$AAAAAAAAAAAAAAAAAAAAAAAAAAAA', 'scrypt$32768$8$3$AAAA$'])(
  'a hash that cannot be read (%s) matches nothing', async (hash) => {
    expect(await passwordMatches('anything', hash)).toBe(false);
  });

test('the hash for names that do not exist asks for the same work, and matches nothing', async () => {
  expect(hashOfNobody()).toMatch(/^scrypt\$32768\$8\$3\$[\w-]{22}\$[\w-]{43}$/);
  expect(await passwordMatches('', hashOfNobody())).toBe(false);
});

test('short and endless passwords are refused with what to do', () => {
  expect(passwordProblem('short')).toContain('at least 10');
  expect(passwordProblem('x'.repeat(201))).toContain('at most 200');
  expect(passwordProblem('long enough it is')).toBeNull();
});
