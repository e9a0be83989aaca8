/** What the Web Audio API (W3C) offers inside an audio worklet, which TypeScript's DOM library leaves out. */
declare const sampleRate: number;
declare class AudioWorkletProcessor {
  readonly port: MessagePort;
}
declare function registerProcessor(name: string, processor: new () => AudioWorkletProcessor): void;
