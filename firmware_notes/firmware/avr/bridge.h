/* A 24-bit bridge converter on two wires: the data line falls when a conversion is ready,
 * 24 clock pulses fetch it, and the 25th asks for the same input and gain again.
 */
#ifndef BRIDGE_H
#define BRIDGE_H

#include <stdint.h>

void bridge_begin(void);

/* 1: 80 conversions a second, 0: 10; a pin of the converter says which. */
void bridge_fast(uint8_t fast);

uint8_t bridge_is_ready(void);

/* Fetch the conversion that is ready. Takes some 60 us with interrupts mostly on. */
int32_t bridge_read(void);

#endif
