#include "bridge.h"

#include <avr/io.h>
#include <util/atomic.h>
#include <util/delay.h>

/* PD2 is also INT0, which takes the time. */
#define DATA _BV(PD2)
#define CLOCK _BV(PD5)
#define FAST _BV(PD4)

enum { BITS = 24, HALF_US = 1 };

void bridge_begin(void)
{
    PORTD = (uint8_t)(PORTD & ~CLOCK); /* high for 60 us would switch the converter off */
    bridge_fast(1);
    DDRD |= CLOCK | FAST;
    PORTD |= DATA; /* pulled up: a cable that is off is a converter that is never ready */
}

void bridge_fast(uint8_t fast)
{
    if (fast)
        PORTD |= FAST;
    else
        PORTD = (uint8_t)(PORTD & ~FAST);
}

uint8_t bridge_is_ready(void)
{
    return !(PIND & DATA);
}

static uint8_t pulse(void)
{
    uint8_t bit;

    /* An interrupt while the clock is high could last longer than the converter allows. */
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        PORTD |= CLOCK;
        _delay_us(HALF_US);
        bit = PIND & DATA;
        PORTD = (uint8_t)(PORTD & ~CLOCK);
    }
    _delay_us(HALF_US);
    return bit != 0;
}

int32_t bridge_read(void)
{
    uint32_t code = 0;

    for (uint8_t i = 0; i < BITS; i++)
        code = code << 1 | pulse();
    pulse();
    /* 24 bits in two's complement: the sign is bit 23. */
    return (int32_t)(code ^ 0x800000UL) - 0x800000L;
}
