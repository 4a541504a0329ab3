/* A plugin for QEMU's user-mode emulators that counts the instructions of the
   program that they run and tells at its end: "instructions N". The declarations are
   those parts of QEMU's interface for plugins (its documentation, "TCG Plugins",
   version 1) that it needs. Threads that count at the same moment may lose some: run
   it on one processor. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

struct qemu_plugin_tb;
extern void qemu_plugin_register_vcpu_tb_trans_cb(uint64_t id, void (*cb)(uint64_t, struct qemu_plugin_tb *));
extern size_t qemu_plugin_tb_n_insns(const struct qemu_plugin_tb *tb);
extern void qemu_plugin_register_vcpu_tb_exec_inline(struct qemu_plugin_tb *tb, int op, void *to, uint64_t by);
extern void qemu_plugin_register_atexit_cb(uint64_t id, void (*cb)(uint64_t, void *), void *with);

int qemu_plugin_version = 1;

static uint64_t count;

static void translated(uint64_t id, struct qemu_plugin_tb *tb) {
  (void)id;
  qemu_plugin_register_vcpu_tb_exec_inline(tb, 0 /* add */, &count, qemu_plugin_tb_n_insns(tb));
}

static void ended(uint64_t id, void *with) {
  (void)id, (void)with;
  fprintf(stderr, "instructions %llu\n", (unsigned long long)count);
}

int qemu_plugin_install(uint64_t id, const void *info, int argc, char **argv) {
  (void)info, (void)argc, (void)argv;
  qemu_plugin_register_vcpu_tb_trans_cb(id, translated);
  qemu_plugin_register_atexit_cb(id, ended, NULL);
  return 0;
}
