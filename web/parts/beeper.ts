/** A sound that a sleeper hears: two tones, made by the browser, so that no file has to be there. */
export class Beeper {
  private context: AudioContext | null = null;

  get isOn(): boolean {
    return this.context?.state === 'running';
  }

  /** Call it in a click: browsers give sound to a person's gesture only. */
  async enable(): Promise<boolean> {
    this.context ??= new AudioContext();
    await this.context.resume();
    return this.isOn;
  }

  async disable(): Promise<void> {
    await this.context?.close();
    this.context = null;
  }

  beep(): void {
    const { context } = this;
    if (context?.state !== 'running') return;
    const volume = context.createGain();
    volume.connect(context.destination);
    for (let i = 0; i < 6; i++) {
      const begin = context.currentTime + i * 0.25;
      const tone = context.createOscillator();
      tone.type = 'square';
      tone.frequency.value = i % 2 === 0 ? 880 : 660;
      tone.connect(volume);
      // A soft edge, because a hard one clicks.
      volume.gain.setValueAtTime(0.0001, begin);
      volume.gain.exponentialRampToValueAtTime(0.3, begin + 0.02);
      volume.gain.exponentialRampToValueAtTime(0.0001, begin + 0.22);
      tone.start(begin);
      tone.stop(begin + 0.24);
    }
  }
}
