/* A Modbus instrument on libmodbus, for the tests: holding registers from the command line, over TCP or RTU.

       registers tcp PORT FIRST HEX...      registers rtu DEVICE FIRST HEX...

   Ends with its standard input. */
#include <modbus.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int main(int argc, char **argv) {
    int tcp = argc > 4 && !strcmp(argv[1], "tcp"), first = argc > 4 ? (int)strtol(argv[3], NULL, 16) : 0;
    modbus_t *bus = tcp ? modbus_new_tcp("127.0.0.1", atoi(argv[2])) : modbus_new_rtu(argv[2], 9600, 'N', 8, 1);
    modbus_mapping_t *map = modbus_mapping_new_start_address(0, 0, 0, 0, first, argc - 4, 0, 0);
    uint8_t asked[MODBUS_TCP_MAX_ADU_LENGTH];
    int listening = -1;
    if (argc < 5 || !bus || !map || modbus_set_slave(bus, 1)) return 2;
    for (int i = 4; i < argc; i++) map->tab_registers[i - 4] = (uint16_t)strtol(argv[i], NULL, 16);
    if (tcp ? (listening = modbus_tcp_listen(bus, 1)) < 0 : modbus_connect(bus) < 0) return 3;
    puts("ready");
    fflush(stdout);
    for (;;) {
        int open = modbus_get_socket(bus), at = tcp && open < 0 ? listening : open;
        struct pollfd on[] = {{0, POLLIN, 0}, {at, POLLIN, 0}};
        if (poll(on, 2, -1) < 0 || on[0].revents) return 0;
        if (at == listening) {
            modbus_tcp_accept(bus, &listening);
            continue;
        }
        int length = modbus_receive(bus, asked);
        if (length > 0) modbus_reply(bus, asked, length, map);
        else if (length < 0 && tcp) modbus_close(bus), modbus_set_socket(bus, -1);
    }
}
