import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    globalSetup: ['tests/needs.ts'],
    include: ['tests/**/*.test.{ts,tsx}'],
    // Real processes, brokers and browsers on two cores: one file at a time keeps the integration tests honest.
    maxWorkers: 2,
    testTimeout: 90_000,
    hookTimeout: 60_000,
    restoreMocks: true,
  },
});
