import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ('jobs', '0005_signoff_and_more'),
    ]

    operations = [
        migrations.CreateModel(
            name='SubletOrder',
            fields=[
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('received_at', models.DateTimeField()),
                ('created_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('content_sha256', models.CharField(max_length=64)),
                ('evidence', models.JSONField(blank=True, default=list)),
                ('corrects', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrected_by', to='jobs.subletorder')),
                ('correction_reason', models.TextField(blank=True, default='')),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('ended_how', models.CharField(blank=True, default='', max_length=10)),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('ended_reason', models.TextField(blank=True, default='')),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='%(class)ss', to='jobs.job')),
                ('device', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.device')),
                ('procedure_ids', models.JSONField()),
                ('to_org', models.CharField(max_length=120)),
                ('guest_grant', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.accessgrant')),
                ('carried_how', models.CharField(max_length=10)),
                ('out', models.JSONField(blank=True, null=True)),
                ('out_odometer', models.JSONField(blank=True, null=True)),
                ('back', models.JSONField(blank=True, null=True)),
                ('back_received_at', models.DateTimeField(blank=True, null=True)),
                ('back_odometer', models.JSONField(blank=True, null=True)),
                ('returned_lamps', models.JSONField(blank=True, null=True)),
                ('version', models.PositiveIntegerField(default=1)),
            ],
            options={
                'abstract': False,
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', True), ('ended_by__isnull', True), ('ended_how', '')), models.Q(('ended_at__isnull', False), ('ended_by__isnull', False), ('ended_how__in', ('set_aside', 'corrected', 'withdrawn'))), _connector='OR'), name='subletorder_ending_is_whole'), models.CheckConstraint(condition=models.Q(('corrects__isnull', True), models.Q(('correction_reason', ''), _negated=True), _connector='OR'), name='subletorder_correction_has_reason'), models.CheckConstraint(condition=models.Q(('carried_how__in', ('driven', 'trailer', 'done_here'))), name='sublet_carried_how')],
            },
        ),
        migrations.AddField(
            model_name='job',
            name='current_assessment',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.assessment'),
        ),
    ]
