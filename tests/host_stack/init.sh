#!/bin/bash
# The guest's first process. Its root is the machine's own, read-only; what it may write is the share.
export PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/root PYTHONUNBUFFERED=1 LANG=C.UTF-8 PYTHONDONTWRITEBYTECODE=1
mount -t proc proc /proc
mount -t sysfs sys /sys
mountpoint -q /dev || mount -t devtmpfs dev /dev
argument() { sed -n "s/.*$1=\([^ ]*\).*/\1/p" /proc/cmdline; }
mkdir -p /dev/pts && mount -t devpts devpts /dev/pts
for folder in /run /var/lib/bluetooth /mnt; do mount -t tmpfs tmpfs $folder; done
mkdir -p /run/dbus /mnt/share /mnt/tmp  # not over /tmp: the project may be there
mount -t hostfs -o "$(argument bench.share)" none /mnt/share
export TMPDIR=/mnt/tmp PATH="$(argument bench.python):$PATH" PYTHONPATH="$(argument bench.project)"
if [ ! -s /etc/machine-id ]; then
    echo 0123456789abcdef0123456789abcdef > /run/machine-id
    mount --bind /run/machine-id /etc/machine-id
fi
cd /mnt/share
bash ./job.sh > out/job.out 2> out/job.err
echo $? > out/job.code
dmesg > out/dmesg.txt 2>&1
sync
# the first process must not exit: that would be a kernel panic
[ -w /proc/sysrq-trigger ] && { echo o > /proc/sysrq-trigger; sleep 2; }
python3 -c "import ctypes; ctypes.CDLL(None).reboot(0x4321fedc)"
