// Package kernel holds the tests of the sensors on a real kernel with simulated
// devices. They run inside the guest that deploy/test-kernel boots, with the
// build tag kernel; see testdata/kernel for what the guest has.
package kernel
