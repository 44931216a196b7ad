/**
 * Content to plain text and to HTML. The HTML is for the plainest clients: one column, no images, no scripts, nothing fetched from
 * anywhere (so nothing tracks), and no colours of its own, so that dark mode can't turn it unreadable.
 */
import type { Content, Line, Section } from './content.ts';

export function renderText(content: Content): string {
  const parts: string[] = [];
  if (content.notice !== null) parts.push(content.notice);
  parts.push([content.headline, ...content.opening].join('\n'));
  if (content.action !== null) parts.push(`${content.action.label}\n${content.action.url}\n${content.action.note}`);
  for (const section of content.sections) {
    parts.push([section.heading.toUpperCase(), ...section.lines.map((line, index) => `${markerOf(section, index)}${line.text}`)].join('\n'));
  }
  if (content.more !== null) parts.push(`${content.more.label}:\n${content.more.url}`);
  // "-- " alone on a line marks what follows as a signature.
  return `${parts.join('\n\n')}\n\n-- \n${content.footer}\n`;
}

export function renderHtml(content: Content): string {
  const { notice, action, more } = content;
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">',
    '<meta name="color-scheme" content="light dark"><meta name="supported-color-schemes" content="light dark">',
    `<title>${escape(content.headline)}</title></head>`,
    '<body style="font-family:sans-serif;font-size:16px;line-height:1.45;margin:0;padding:12px;max-width:38em">',
    notice === null ? '' : `<p style="margin:0 0 12px;font-size:14px">${escape(notice)}</p>`,
    `<h1 style="font-size:20px;line-height:1.25;margin:0 0 8px">${escape(content.headline)}</h1>`,
    ...content.opening.map((line) => `<p style="margin:0 0 8px">${escape(line)}</p>`),
    action === null
      ? ''
      : `<p style="margin:16px 0 4px"><a href="${escape(action.url)}" style="display:inline-block;padding:12px 18px;border:2px solid;border-radius:6px;font-weight:bold;text-decoration:none">${escape(action.label)}</a></p>`
        + `<p style="margin:0 0 12px;font-size:14px">${escape(action.note)}</p>`,
    ...content.sections.map(sectionHtml),
    more === null ? '' : `<p style="margin:16px 0 8px"><a href="${escape(more.url)}">${escape(more.label)}</a></p>`,
    `<hr><p style="font-size:13px;margin:8px 0 0">${escape(content.footer)}</p>`,
    '</body></html>',
  ].filter((part) => part !== '').join('\n');
}

function markerOf(section: Section, index: number): string {
  return section.list === 'numbered' ? `${index + 1}. ` : section.list === 'bullets' ? '- ' : '';
}

function sectionHtml(section: Section): string {
  const heading = `<h2 style="font-size:16px;margin:16px 0 4px">${escape(section.heading)}</h2>`;
  if (section.list === 'plain') return heading + section.lines.map((line) => `<p style="margin:0 0 4px">${lineHtml(line)}</p>`).join('');
  const tag = section.list === 'numbered' ? 'ol' : 'ul';
  return `${heading}<${tag} style="margin:0;padding-left:24px">${section.lines.map((line) => `<li style="margin:0 0 4px">${lineHtml(line)}</li>`).join('')}</${tag}>`;
}

function lineHtml({ text, phone }: Line): string {
  const number = phone?.replace(/[^\d+]/g, '') ?? '';
  return number === '' ? escape(text) : `<a href="tel:${escape(number)}">${escape(text)}</a>`;
}

const entities: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' };

function escape(text: string): string {
  return text.replace(/[&<>"']/g, (char) => entities[char] ?? char);
}
