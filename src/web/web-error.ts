/** An answer that is not the thing asked for, with the words for the person. */
export class WebError extends Error {
  override readonly name = 'WebError';
  readonly statusCode: number;
  constructor(statusCode: number, message: string, options: { cause?: unknown } = {}) {
    super(message, options);
    this.statusCode = statusCode;
  }
}
