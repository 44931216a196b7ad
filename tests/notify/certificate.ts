/** A throw-away certificate for 127.0.0.1, made by the openssl command. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export function makeCertificate(): { readonly key: string; readonly cert: string } {
  const folder = mkdtempSync(join(tmpdir(), 'tankbell-certificate-'));
  try {
    const keyFile = join(folder, 'key.pem');
    const certFile = join(folder, 'cert.pem');
    execFileSync('openssl', [
      'req', '-x509', '-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:prime256v1', '-nodes', '-days', '2',
      '-subj', '/CN=127.0.0.1', '-addext', 'subjectAltName=IP:127.0.0.1', '-keyout', keyFile, '-out', certFile,
    ], { stdio: 'pipe' });
    return { key: readFileSync(keyFile, 'utf8'), cert: readFileSync(certFile, 'utf8') };
  } finally {
    rmSync(folder, { recursive: true });
  }
}
