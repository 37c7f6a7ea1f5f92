import type { Unsubscribe } from './api.ts';

/** Who wants to hear of one kind of thing. */
export class Listeners<T> {
  private readonly all = new Set<(value: T) => void>();

  add(listener: (value: T) => void): Unsubscribe {
    this.all.add(listener);
    return () => this.all.delete(listener);
  }

  tell(value: T): void {
    for (const listener of [...this.all]) listener(value);
  }
}

/** The same, for something that has a present value: a new listener hears it at once. */
export class Present<T> {
  private readonly listeners = new Listeners<T>();

  constructor(private current: T) {}

  get value(): T {
    return this.current;
  }

  add(listener: (value: T) => void): Unsubscribe {
    listener(this.current);
    return this.listeners.add(listener);
  }

  set(value: T): void {
    this.current = value;
    this.listeners.tell(value);
  }
}
