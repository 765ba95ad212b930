/* Commands: what the host may ask, and the answers.
 *
 * Promise: each valid K is obeyed in silence, each L and C answered by an A, each Q by a B; nothing else is answered.
 */
#include "command.h"

#include "board.h"
#include "clock.h"
#include "frame.h"
#include "line.h"
#include "parse.h"
#include "permit.h"
#include "start.h"

static void answer(const struct command *command, bool done) {
    frame_begin('A');
    frame_letter(command->kind);
    frame_number(command->numbers[0]);
    frame_number(done ? 0 : 1);
    frame_end();
}

void command_say_hello(void) {
    frame_begin('B');
    frame_number(start_boot());
    frame_number(PROTOCOL_VERSION);
    frame_number(FIRMWARE_VERSION);
    frame_hex(start_reset_cause(), 2);
    frame_number(SAMPLE_MS);
    frame_number(DEAD_MS);
    frame_end();
}

static void obey(const struct command *command) {
    const uint16_t *numbers = command->numbers;
    switch (command->kind) {
    case 'K':
        permit_keep_alive(clock_ms(), numbers[1] != 0, numbers[2] != 0);
        break;
    case 'L':
        answer(command, permit_set_trips(numbers[1], numbers[2]));
        break;
    case 'C':
        answer(command, permit_clear_trips());
        break;
    case 'Q':
        command_say_hello();
        break;
    }
}

void command_poll(void) {
    uint8_t byte;
    struct command command;
    while (line_take(&byte)) {
        if (parse_byte(byte, &command)) {
            obey(&command);
        }
    }
}
