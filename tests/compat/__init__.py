"""Campaign folders that earlier versions left, carried on by this one."""
