// SPDX-License-Identifier: GPL-2.0
/* Gives the kernel's interrupt-cnt driver a line to count on: the device that
 * a board's device tree would have. chip is the label of a GPIO chip.
 */
#include <linux/gpio/machine.h>
#include <linux/module.h>
#include <linux/platform_device.h>

static char *chip;
module_param(chip, charp, 0444);
static unsigned short line;
module_param(line, ushort, 0444);

static struct gpiod_lookup_table lines = {
	.dev_id = "interrupt-cnt.0",
	.table = { {}, {} },
};
static struct platform_device *device;

static int __init weepd_count_init(void)
{
	lines.table[0].key = chip;
	lines.table[0].chip_hwnum = line;
	gpiod_add_lookup_table(&lines);
	device = platform_device_register_simple("interrupt-cnt", 0, NULL, 0);
	if (IS_ERR(device)) {
		gpiod_remove_lookup_table(&lines);
		return PTR_ERR(device);
	}
	return 0;
}

static void __exit weepd_count_exit(void)
{
	platform_device_unregister(device);
	gpiod_remove_lookup_table(&lines);
}

module_init(weepd_count_init);
module_exit(weepd_count_exit);
MODULE_LICENSE("GPL");
