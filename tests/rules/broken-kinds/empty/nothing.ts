export const forgotten = 1;
