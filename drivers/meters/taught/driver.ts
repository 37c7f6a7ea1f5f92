import { channelKey } from '../../core/channelKey.ts';
import {
  sameRef,
  type Driver,
  type MeterChannel,
  type MeterProfile,
  type MeterReader,
  type ProfiledCharacteristic,
} from '../../core/driver.ts';
import { DriverError } from '../../core/errors.ts';
import { valueOf, type Quantity } from '../../core/reading.ts';
import { canonicalUuid } from '../../core/uuid.ts';
import type { MeterDescription } from '../../teach/description.ts';
import { readFrame } from '../../teach/read.ts';
import { LABELS } from './fields.ts';
import { isStandard } from './unknown.ts';

/**
 * Reads the meter that a description describes.
 * @throws DriverError bad-field when the description's source is no Bluetooth UUID
 */
export function taughtDriver(description: MeterDescription): Driver {
  const source = description.source && {
    service: canonicalUuid(description.source.service),
    characteristic: canonicalUuid(description.source.characteristic),
  };
  return {
    id: 'taught',
    title: description.title,
    services: source ? [{ uuid: source.service, advertised: false }] : [],
    open(profile): MeterReader | null {
      const { nameStartsWith } = description;
      if (nameStartsWith !== null && !profile.name?.startsWith(nameStartsWith)) return null;
      const from = source
        ? profile.characteristics.find(
            (c) => c.service === source.service && c.characteristic === source.characteristic && canSend(c),
          )
        : onlyUnknown(profile);
      if (!from) return null;
      const channels = channelsOf(description, from);
      return {
        channels,
        sources: [{ service: from.service, characteristic: from.characteristic, index: from.index }],
        pollMs: 500,
        read(ref, bytes) {
          if (!sameRef(ref, from))
            throw new DriverError(
              'unknown-characteristic',
              'The meter was taught from another characteristic.',
            );
          const reading = readFrame(description, bytes);
          const channel = channels.find((c) => c.quantity === reading?.quantity);
          return reading && channel ? [{ key: channel.key, reading }] : [];
        },
      };
    },
  };
}

const canSend = (c: ProfiledCharacteristic) => c.canNotify || c.canRead;

/** Where the description names no source: the one characteristic outside the SIG's own that notifies. */
function onlyUnknown(profile: MeterProfile): ProfiledCharacteristic | null {
  const unknown = profile.characteristics.filter((c) => c.canNotify && !isStandard(c));
  return unknown.length === 1 ? unknown[0]! : null;
}

function channelsOf(description: MeterDescription, from: ProfiledCharacteristic): MeterChannel[] {
  const { rows } = description.modes;
  const shown = new Set<Quantity>();
  for (const { quantity } of rows) if (quantity !== null) shown.add(quantity);
  for (const { quantity } of description.overload) if (quantity !== null) shown.add(quantity);
  const channels: MeterChannel[] = [];
  for (const quantity of (['voltage', 'current', 'temperature'] as const).filter((q) => shown.has(q))) {
    const exponents = rows.filter((r) => r.quantity === quantity).map((r) => r.exponent);
    channels.push({
      key: channelKey(from.characteristic, channels),
      quantity,
      label: LABELS[quantity],
      source: { service: from.service, characteristic: from.characteristic, index: from.index },
      step: hasFixedStep(description) && exponents.length > 0 ? valueOf(1, Math.min(...exponents)) : null,
    });
  }
  return channels;
}

function hasFixedStep({ value }: MeterDescription): boolean {
  return value.kind === 'integer' || value.kind === 'bcd' || value.kind === 'segments';
}
