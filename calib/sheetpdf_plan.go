package calib

func (d *drawing) planPage() { d.pdf.AddPage() }
