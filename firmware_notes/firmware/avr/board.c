/* The board layer for an ATmega328P at 16 MHz: pins, clock, port, watchdog. What the device
 * says and when is decided in core/.
 *
 *   D2  data of the bridge converter      A0  button: redo
 *   D5  clock of the bridge converter     A1  button: mark
 *   D4  its rate pin                      A2  button or foot switch: next
 *   D0, D1  the port, 115200 baud         A3, A4  levers of clamps A and B
 *
 * Switches close to ground; the controller pulls them up.
 */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "bridge.h"
#include "device.h"

#ifndef CLOCK_START_US
#define CLOCK_START_US 0UL
#endif

#define FAST_MHZ 80000UL
#define SLOW_MHZ 10000UL

enum {
    BAUD_DIVISOR = 16, /* 16 MHz / 8 / 17 = 117647, 2 % from 115200, as boards of this kind do */
    HEARD = 32,
    SWITCH_PINS = 0x1f
};

static const uint32_t RATES[] = {SLOW_MHZ, FAST_MHZ};
static const struct tl_switch SWITCHES[] = {
    {"redo", NULL}, {"mark", NULL}, {"next", NULL}, {"shut-A", "open-A"}, {"shut-B", "open-B"},
};
static const struct tl_config CONFIG = {
    .device = DEVICE_ID,
    .firmware = "reference-avr 1",
    .adc_bits = 24,
    .baud = 115200,
    .rates_mhz = RATES,
    .rates = 2,
    .switches = SWITCHES,
    .switch_count = 5,
};

static struct tl_device device;
static uint8_t reset_cause __attribute__((section(".noinit")));
static uint16_t boots EEMEM;

static volatile uint32_t overflows;
static volatile uint32_t ready_us, switched_us;
static volatile uint8_t ready, switched;
static volatile char heard[HEARD];
static volatile uint8_t heard_head, heard_tail;

/* After a watchdog's reset the watchdog still runs, at its shortest: stop it before main. */
static void keep_cause(void) __attribute__((naked, used, section(".init3")));

static void keep_cause(void)
{
    reset_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

/* Microseconds, with interrupts off: half a microsecond a tick, an overflow every 2^15 us. */
static uint32_t clock_us(void)
{
    uint16_t ticks = TCNT1;
    uint32_t turns = overflows;

    if ((TIFR1 & _BV(TOV1)) && ticks < 0x8000u)
        turns++;
    return (turns << 15) + (ticks >> 1) + CLOCK_START_US;
}

static uint32_t now_us(void)
{
    uint32_t us = 0;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        us = clock_us();
    }
    return us;
}

ISR(TIMER1_OVF_vect)
{
    overflows++;
}

ISR(INT0_vect)
{
    ready_us = clock_us();
    ready++;
}

ISR(PCINT1_vect)
{
    if (!switched)
        switched_us = clock_us();
    switched = 1;
}

ISR(USART_RX_vect)
{
    char byte = (char)UDR0;
    uint8_t next = (uint8_t)((heard_head + 1) % HEARD);

    if (next == heard_tail)
        return;
    heard[heard_head] = byte;
    heard_head = next;
}

ISR(USART_UDRE_vect)
{
    int16_t byte = tl_next(&device);

    if (byte < 0)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    else
        UDR0 = (uint8_t)byte;
}

static void take_conversion(void)
{
    uint8_t conversions = 0;
    uint32_t at_us = 0;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        conversions = ready;
        at_us = ready_us;
        ready = 0;
        /* The data line is also the data: its edges while it is read are no conversions. */
        if (conversions)
            EIMSK = 0;
    }
    if (!conversions)
        return;
    if (conversions > 1)
        tl_missed(&device, (uint16_t)(conversions - 1));
    tl_converted(&device, at_us, bridge_read());
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);
}

static void take_switches(void)
{
    uint32_t at_us = 0;
    uint8_t closed = 0;

    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        at_us = switched ? switched_us : clock_us();
        switched = 0;
        closed = (uint8_t)(~PINC & SWITCH_PINS);
    }
    tl_switches(&device, at_us, closed);
}

static void take_heard(void)
{
    while (heard_tail != heard_head) {
        tl_heard(&device, heard[heard_tail]);
        heard_tail = (uint8_t)((heard_tail + 1) % HEARD);
    }
}

static void set_wanted_rate(void)
{
    uint32_t wanted = tl_wanted_rate(&device);

    if (!wanted)
        return;
    bridge_fast(wanted == FAST_MHZ);
    tl_converts_at(&device, wanted, now_us());
}

static void rest(void)
{
    cli();
    if (device.head != device.tail)
        UCSR0B |= _BV(UDRIE0);
    if (!ready && !switched && heard_tail == heard_head) {
        sleep_enable();
        sei(); /* takes effect after the next instruction, so nothing falls in between */
        sleep_cpu();
        sleep_disable();
    }
    sei();
}

static void begin_registers(void)
{
    TCCR1B = _BV(CS11);
    TIMSK1 = _BV(TOIE1);
    UBRR0 = BAUD_DIVISOR;
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
    PORTC |= SWITCH_PINS;
    PCMSK1 = SWITCH_PINS;
    PCICR = _BV(PCIE1);
    EICRA = _BV(ISC01);
    set_sleep_mode(SLEEP_MODE_IDLE);
}

/* Changes at every start, whatever caused it: counted where a power cut does not reach. */
static const char *next_boot(void)
{
    static char text[5];
    uint16_t boot = (uint16_t)(eeprom_read_word(&boots) + 1);

    eeprom_update_word(&boots, boot);
    for (int8_t i = 3; i >= 0; i--, boot >>= 4)
        text[i] = "0123456789ABCDEF"[boot & 15u];
    return text;
}

static const char *why(void)
{
    if (reset_cause & _BV(WDRF))
        return "started: watchdog";
    if (reset_cause & _BV(PORF))
        return "started: power on";
    if (reset_cause & _BV(BORF))
        return "started: brown-out";
    return reset_cause & _BV(EXTRF) ? "started: reset" : "started";
}

int main(void)
{
    bridge_begin();
    begin_registers();
    tl_start(&device, &CONFIG, next_boot(), FAST_MHZ, why());
    if ((reset_cause & _BV(BORF)) && !(reset_cause & _BV(PORF)))
        tl_fault(&device, CLOCK_START_US, "brown-out");
    if (bridge_is_ready()) { /* since when, nobody knows */
        ready_us = clock_us();
        ready = 1;
    }
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);
    wdt_enable(WDTO_1S);
    sei();
    for (;;) {
        wdt_reset();
        take_conversion();
        take_switches();
        take_heard();
        set_wanted_rate();
        tl_passed(&device, now_us());
#ifdef HANG_AT
        while (device.next_seq >= HANG_AT)
            ; /* a build that hangs, to see the watchdog bite */
#endif
        rest();
    }
}
