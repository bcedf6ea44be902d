/* A tension logger's device without its board: conversions, switches and bytes from the
 * host come in, lines go out. No allocation, no floating point, no clock, no registers.
 *
 * One round of a board's loop:
 *
 *     tl_converted()  for the conversion that is ready, with the time at which it was
 *     tl_switches()   for the switches, with the time at which one changed
 *     tl_heard()      for each byte from the host
 *     tl_wanted_rate() and, once the converter runs at it, tl_converts_at()
 *     tl_passed()     with the time that it is
 *
 * and tl_next() for each byte that the line can take; that one may be called from an
 * interrupt, the others may not.
 */
#ifndef TL_DEVICE_H
#define TL_DEVICE_H

#include <stdint.h>

#include "wire.h"

enum {
    TL_RING = 256,    /* bytes that wait to be sent; its indexes are bytes and wrap with it */
    TL_KEPT = 72,     /* of these kept free for what is no sample */
    TL_SWITCHES = 8,  /* one bit each */
    TL_COMMAND = 16,  /* longest line that the host may say */
    TL_BOUNCE_US = 20000,
    TL_LATE = 8,      /* periods without a conversion: the converter is not ready */
    TL_LEAST_SAME = 16
};

/* What a switch says as it closes and as it opens; NULL: nothing. */
struct tl_switch {
    const char *closed;
    const char *opened;
};

struct tl_config {
    const char *device;   /* an id of its own, unlike that of any other device */
    const char *firmware;
    uint8_t adc_bits;
    uint32_t baud;
    const uint32_t *rates_mhz; /* what the converter can be asked for */
    uint8_t rates;
    const struct tl_switch *switches;
    uint8_t switch_count;
};

struct tl_device {
    const struct tl_config *config;
    const char *boot;
    uint32_t rate_mhz;
    uint32_t wanted_mhz;
    uint32_t period_us;
    uint32_t last_us; /* of the latest conversion, or of the start */
    int32_t last_counts;
    int32_t top;
    uint16_t next_seq;
    uint16_t same;     /* conversions in a row with the same code */
    uint16_t at_end;   /* conversions in a row at the end of the range */
    uint16_t lost;     /* lines other than samples for which there was no room */
    uint8_t begun;     /* a conversion was taken since the start */
    uint8_t standing;  /* faults that stand, one bit each */
    uint8_t looked;    /* the switches have been looked at since the start */
    uint8_t closed;    /* switches, as last told */
    uint32_t told_us[TL_SWITCHES];
    uint8_t bouncing;
    uint8_t command_size;
    char command[TL_COMMAND];
    volatile uint8_t head, tail;
    volatile char ring[TL_RING];
};

/* Begin: say why it started, and who it is. Texts must outlive the device. */
void tl_start(struct tl_device *device, const struct tl_config *config, const char *boot,
              uint32_t rate_mhz, const char *why);

/* A conversion was ready at t_us. */
void tl_converted(struct tl_device *device, uint32_t t_us, int32_t counts);

/* Conversions that the converter took and nobody read: their numbers are left out. */
void tl_missed(struct tl_device *device, uint16_t conversions);

/* Something the board noticed itself, such as a falling supply. */
void tl_fault(struct tl_device *device, uint32_t t_us, const char *fault);

/* The switches as they are, one bit each; t_us is when the first of them changed. The first
 * call after a start says nothing: a lever that was shut already is no event.
 */
void tl_switches(struct tl_device *device, uint32_t t_us, uint8_t closed);

/* A byte from the host. What is no command is passed over. */
void tl_heard(struct tl_device *device, char byte);

/* It is now_us: look for a converter that is late, say what was lost. */
void tl_passed(struct tl_device *device, uint32_t now_us);

/* The rate that the host asks for and that the board shall set now, or 0. */
uint32_t tl_wanted_rate(struct tl_device *device);

/* The converter runs at this rate from now_us on; says who it is. */
void tl_converts_at(struct tl_device *device, uint32_t rate_mhz, uint32_t now_us);

/* The next byte to send, or -1. */
int16_t tl_next(struct tl_device *device);

#endif
